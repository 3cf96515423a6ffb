/* A small firmware with everything that a conversion can get wrong: a vector table, code, constants behind an
   alignment gap, initialised data that runs in RAM and is stored in flash, cleared memory, and a far trailer. */
    .syntax unified
    .cpu cortex-m4
    .thumb

    .section .vectors, "a"
    .word _stack_top
    .word reset
    .word fault, fault, fault, fault, fault
    .word 0, 0, 0, 0
    .word fault, fault, 0, fault, tick

    .text
    .global reset
    .thumb_func
reset:
    ldr r0, =setpoint
    ldr r1, [r0]
    adds r1, r1, #1
    ldr r2, =elapsed
    str r1, [r2]
    b reset
    .thumb_func
tick:
    bx lr
    .thumb_func
fault:
    b fault

    .section .rodata, "a"
curve:
    .set i, 0
    .rept 700
    .word (i * 2654435761) & 0xFFFFFFFF
    .set i, i + 1
    .endr

    .data
setpoint:
    .word 1060
    .ascii "cone 04"

    /* Kept through a reset: no bytes in the file, though bytes on both sides of it have. */
    .section .kept, "aw", %nobits
hours:
    .space 64

    .section .later, "aw"
    .ascii "hold 20 min"

    .bss
elapsed:
    .space 4096

    .section .trailer, "a"
    .ascii "KC-4 2.1"
    .byte 0xFF, 0x00, 0x0D, 0x0A, 0x3A
