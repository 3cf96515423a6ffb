#include "check.h"
#include "crc32.h"

void test_crc32(void)
{
    /* The check value of CRC-32/ISO-HDLC (IEEE 802.3) in the catalogue of parametrised CRC algorithms. */
    CHECK_INT(crc32("123456789", 9), 0xCBF43926);
    CHECK_INT(crc32("", 0), 0);
    /* By zlib's crc32 (Python: zlib.crc32). */
    CHECK_INT(crc32("The quick brown fox jumps over the lazy dog", 43), 0x414FA339);
    CHECK_INT(crc32("\0\0\0\0", 4), 0x2144DF1C);
    CHECK_INT(crc32("\xff\xff\xff\xff", 4), 0xFFFFFFFF);
}
