#!/bin/bash
# Sticks as owners bring them, whole and damaged, made with Debian's general tools.
#
# Usage: cases.sh FOLDER CASE. Makes FOLDER/CASE.img; the update file is FOLDER/KC4.UPD, made beforehand.
# The verdicts stand in cases.rs. What fields and marks mean: FAT specification; UEFI 2.10, chapter 5.
source "$(dirname "$0")/base.sh"

case $case in
# Good sticks.
fat16) small ;;
fat32) large ;;
table) usual ;;
floppy) blank 1440K; mkfs.fat -F 12 "$image" > "$scrap/log"; copy "$update" ;;
hidden-type) usual; poke 450 1c ;;
second-partition)
    blank 64M
    table 'start=2048, size=16384, type=83\nstart=20480, size=92160, type=c\n'
    format_at 20480 92160 -F 32 -s 1
    copy 20480 "$update" ;;
table-and-code) # a volume without a table whose start-up code could be one
    small; poke 446 80010100; poke 450 0c; poke 454 0008000000100000 ;;
one-fat) blank 16M; mkfs.fat -F 16 -s 4 -f 1 -a "$image" > "$scrap/log"; copy "$update" ;;
live-fat) # mirroring off, the second FAT live, the first one wiped
    large; poke 40 8100; dd if=/dev/zero of="$image" bs=512 seek=32 count=630 conv=notrunc status=none ;;
both-totals) small; poke 32 00800000 ;;
no-info) large; poke 512 "$(printf 'ff%.0s' {1..512})" ;;
high-word) small; poke '33344 + 20' dead ;;
top-bits) large; large_link 10 0b0000f0 ;;
sectors-4096) blank 300M; mkfs.fat -S 4096 -F 32 -s 1 "$image" > "$scrap/log"; copy "$update" ;;
sectors-1024) blank 32M; mkfs.fat -S 1024 -F 16 -s 1 -a "$image" > "$scrap/log"; copy "$update" ;;
fragments)
    small; without_update
    for n in 1 2 3 4 5 6 7 8; do mcopy -i "$image" "$scrap/NOTES.TXT" "::N$n"; done
    mdel -i "$image" ::N2 ::N4 ::N6
    copy "$update" ;;
dirty) large; large_link 1 ffffff07; poke 65 01 ;;
few-clusters) # FAT32 in form, too small by the specification; computers read it
    blank 8M; mkfs.fat -F 32 -s 1 -a "$image" > "$scrap/log" 2>&1
    # mtools takes this for FAT12, so the update goes in by hand: an entry in the root, and a chain from cluster 3 on.
    python3 - "$image" "$update" << 'PYTHON'
import struct, sys
image, update = sys.argv[1], open(sys.argv[2], "rb").read()
with open(image, "r+b") as stick:
    boot = stick.read(512)
    reserved, fat = struct.unpack_from("<H", boot, 14)[0], struct.unpack_from("<I", boot, 36)[0]
    count = -(-len(update) // 512)
    links = b"".join(struct.pack("<I", n + 1) for n in range(3, 2 + count)) + struct.pack("<I", 0x0FFFFFFF)
    data = (reserved + 2 * fat) * 512
    for place, what in [(reserved * 512 + 12, links), ((reserved + fat) * 512 + 12, links), (data + 512, update),
                        (data, b"KC4     UPD" + struct.pack("<B8xHHHHI", 0x20, 0, 0, 0, 3, len(update)))]:
        stick.seek(place); stick.write(what)
PYTHON
    ;;
long-names)
    large
    mren -i "$image" ::KC4.UPD "::kiln update (1).upd.txt"
    mmd -i "$image" "::System Volume Information" ::.fseventsd ;;
orphan-pieces) # the checksum of the pieces no longer fits the short name
    large; mren -i "$image" ::KC4.UPD "::a long name.upd"; poke '661504 + 32 * 4' 58 ;;
lower-case) # the case bits instead of a long name
    large; without_update; cp "$update" "$scrap/kc4.upd"; copy "$scrap/kc4.upd" ;;
shadow-files)
    large; printf '\0\5\26\7\0\2\0\0%4088s' > "$scrap/._KC4.UPD"; copy "$scrap/._KC4.UPD"
    mmd -i "$image" ::.Trashes ;;
big-folder) # 65,536 entries, with no end mark
    blank 40M; mkfs.fat -F 32 -s 1 -a "$image" > "$scrap/log"
    python3 -c "open('$scrap/e', 'wb').write(b''.join(b'%08dDAT\x20' % n + bytes(20) for n in range(65536)))"
    mcopy -i "$image" "$scrap/e" ::BIG; poke '661504 + 11' 10; copy "$update" ;;
bigger-folder) # one cluster more than that
    blank 40M; mkfs.fat -F 32 -s 1 -a "$image" > "$scrap/log"
    python3 -c "open('$scrap/e', 'wb').write(b''.join(b'%08dDAT\x20' % (n % 10**8) + bytes(20) for n in range(65552)))"
    mcopy -i "$image" "$scrap/e" ::BIG; poke '661504 + 11' 10; copy "$update" ;;
overlap) usual; poke 462 00feffff0cfeffff1027000000400000 ;;
shared-clusters) # NOTES.TXT runs on into the update's chain
    small; small_link 2 0800; poke '33312 + 28' 00100000 ;;
slack) # the chain goes on after the file's end
    small; small_link 51 3400; small_link 52 3500; small_link 53 ffff ;;
hybrid-gpt)
    blank 48M
    sgdisk -o -n 1:2048:94207 -t 1:0700 -h 1:EE "$image" > "$scrap/log"
    format_at 2048 92160 -F 32 -s 1
    copy 2048 "$update" ;;

# No file to be had, on a sound stick.
deleted) large; without_update ;;
in-a-folder) large; without_update; mmd -i "$image" ::NEW; mcopy -i "$image" "$update" ::NEW ;;
empty-file) large; without_update; : > "$scrap/KC4.UPD"; copy "$scrap/KC4.UPD" ;;
label-only) # the label's 11 bytes are those of the update
    blank 16M; mkfs.fat -F 16 -s 4 -a -n "KC4     UPD" "$image" > "$scrap/log" ;;

# Not FAT, or not to be found.
gpt)
    blank 48M
    sgdisk -o -n 1:2048:94207 -t 1:0700 "$image" > "$scrap/log"
    format_at 2048 92160 -F 32 -s 1
    copy 2048 "$update" ;;
exfat)
    truncate -s 64M "$scrap/e"; mkfs.exfat "$scrap/e" > "$scrap/log"
    blank 66M; dd if="$scrap/e" of="$image" bs=1M seek=1 conv=notrunc,sparse status=none
    table 'start=2048, size=131072, type=7\n' ;;
exfat-plain) blank 64M; mkfs.exfat "$image" > "$scrap/log" ;;
ntfs) blank 32M; mkfs.ntfs -q -Q -F "$image" > "$scrap/log" 2>&1 ;;
ext4) blank 32M; mke2fs -q -t ext4 "$image" ;;
zeros) blank 8M ;;
ones) head -c 1M /dev/zero | tr '\0' '\377' > "$image" ;;
nothing) blank 0 ;;
iso) cp "$update" "$scrap/"; xorriso -as mkisofs -quiet -o "$image" "$scrap" > "$scrap/log" 2>&1 ;;
iso-hybrid)
    truncate -s 2M "$folder/$case.efi"; mkfs.fat -F 12 "$folder/$case.efi" > "$scrap/log"
    xorriso -as mkisofs -quiet -partition_offset 16 -append_partition 2 0xef "$folder/$case.efi" -o "$image" "$scrap" \
        > "$folder/$case.log" 2>&1
    rm "$folder/$case.efi" "$folder/$case.log" ;;
no-signature) usual; poke 510 0000 ;;
starts-beyond) usual; poke 454 ffffff0f ;;
starts-nowhere) usual; poke 454 00000000 ;;
extended-only) usual; poke 450 0f ;;
partition-wiped) usual; dd if=/dev/zero of="$image" bs=512 seek=2048 count=1 conv=notrunc status=none ;;

# Volumes that contradict themselves.
cut-short) small; truncate -s 90000 "$image" ;;
partition-shorter) usual; poke 458 00100000 ;;
sector-size-0) small; poke 11 0000 ;;
sector-size-in-table) usual; poke '1048576 + 11' 0003 ;;
cluster-size-3) small; poke 13 03 ;;
cluster-size-128k) blank 300M; mkfs.fat -S 4096 -F 32 -s 1 "$image" > "$scrap/log"; poke 13 20 ;;
reserved-0) small; poke 14 0000 ;;
no-fats) small; poke 16 00 ;;
no-media) small; poke 21 00 ;;
no-fat-size) small; poke 22 0000 ;;
no-total) small; poke 19 0000; poke 32 00000000 ;;
tiny-total) small; poke 19 5000 ;;
no-root-entries) small; poke 17 0000 ;;
root-entries-32) large; poke 17 0002 ;;
short-fat) small; poke 22 0400 ;;
too-many-for-16) small; poke 13 01; poke 19 0000; poke 32 00000200; poke 22 0002 ;;
live-fat-5) large; poke 40 8500 ;;
version-1) large; poke 42 0001 ;;
root-cluster-0) large; poke 44 00000000 ;;
root-cluster-1) large; poke 44 01000000 ;;
root-cluster-wild) large; poke 44 ffffff0f ;;

# Chains that go wrong.
loop) small; small_link 20 0a00 ;;
loop-at-end) small; small_link 51 3300 ;;
loop-to-start) small; small_link 51 0300 ;;
wild) small; small_link 20 e91f ;;
reserved-link) small; small_link 20 0100 ;;
bad-cluster) small; small_link 20 f7ff ;;
free-cluster) small; small_link 20 0000 ;;
ends-early) small; small_link 20 ffff ;;
huge-size) small; poke '33344 + 28' ffffffff ;;
size-beyond-chain) small; poke '33344 + 28' 00900100 ;;
first-cluster-0) small; poke '33344 + 26' 0000 ;;
first-cluster-1) small; poke '33344 + 26' 0100 ;;
first-cluster-wild) small; poke '33344 + 26' e91f ;;
root-loop) # the root's only cluster leads to itself, and has no end mark
    large; large_link 2 02000000
    for n in {3..15}; do poke "661504 + 32 * $n" "464c4c$(printf '%02x' $((n + 0x41)))2020202020202020200000000000000000000000000000000000000000"; done ;;
*) echo "cases.sh knows no case $case" >&2; exit 2 ;;
esac
