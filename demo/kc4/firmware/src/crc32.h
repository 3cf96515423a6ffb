/* CRC-32 as used by Ethernet (IEEE 802.3): reflected, polynomial 0x04C11DB7, start and final XOR 0xFFFFFFFF. */
#ifndef KC4_CRC32_H
#define KC4_CRC32_H

#include <stddef.h>
#include <stdint.h>

uint32_t crc32(const void *bytes, size_t length);

#endif
