#include "check.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "version.h"

const char *nist_table_path;
static int checks, failures;

static void fail(const char *file, int line)
{
    failures++;
    printf("FAILED %s:%d: ", file, line);
}

void check_true(bool good, const char *what, const char *file, int line)
{
    checks++;
    if (!good) {
        fail(file, line);
        printf("%s does not hold\n", what);
    }
}

void check_near(double found, double expected, double within, const char *what, const char *file, int line)
{
    checks++;
    if (!(fabs(found - expected) <= within)) {
        fail(file, line);
        printf("%s is %.9g, expected %.9g within %.3g\n", what, found, expected, within);
    }
}

void check_integer(long long found, long long expected, const char *what, const char *file, int line)
{
    checks++;
    if (found != expected) {
        fail(file, line);
        printf("%s is %lld (0x%llx), expected %lld (0x%llx)\n", what, found, (unsigned long long)found, expected,
               (unsigned long long)expected);
    }
}

void check_text(const char *found, const char *expected, const char *file, int line)
{
    checks++;
    if (strcmp(found, expected) != 0) {
        fail(file, line);
        printf("found \"%s\", expected \"%s\"\n", found, expected);
    }
}

void check_contains(const char *found, const char *part, const char *file, int line)
{
    checks++;
    if (!strstr(found, part)) {
        fail(file, line);
        printf("\"%s\" is not in \"%s\"\n", part, found);
    }
}

void measured(const char *what, double value, const char *unit)
{
    printf("  measured: %s %.4g %s\n", what, value, unit);
}

int main(int count, char **arguments)
{
    if (count != 2) {
        fprintf(stderr, "usage: %s NIST-TABLE\n", arguments[0]);
        return 2;
    }
    nist_table_path = arguments[1];
    setvbuf(stdout, NULL, _IOLBF, 0); /* what failed is said even when a sanitizer ends the run */
    printf("KC-4 %s host tests\n", KC4_VERSION_TEXT);
    test_crc32();
    test_thermocouple();
    test_pid();
    test_firing();
    test_safety();
    test_settings();
    test_carry_over();
    test_eeprom();
    test_converter();
    test_text();
    test_app();
    printf("KC-4 %s: %d checks, %d failed\n", KC4_VERSION_TEXT, checks, failures);
    return failures == 0 ? 0 : 1;
}
