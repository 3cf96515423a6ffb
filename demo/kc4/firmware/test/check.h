/* A small test bench: checks count, failures print where and what, and the program's exit says whether any failed. */
#ifndef KC4_CHECK_H
#define KC4_CHECK_H

#include <stdbool.h>

void check_true(bool good, const char *what, const char *file, int line);
void check_near(double found, double expected, double within, const char *what, const char *file, int line);
void check_integer(long long found, long long expected, const char *what, const char *file, int line);
void check_text(const char *found, const char *expected, const char *file, int line);
void check_contains(const char *found, const char *part, const char *file, int line);

#define CHECK(condition) check_true((condition), #condition, __FILE__, __LINE__)
#define CHECK_NEAR(found, expected, within) check_near((double)(found), (double)(expected), (double)(within), #found, __FILE__, __LINE__)
#define CHECK_INT(found, expected) check_integer((long long)(found), (long long)(expected), #found, __FILE__, __LINE__)
#define CHECK_TEXT(found, expected) check_text((found), (expected), __FILE__, __LINE__)
#define CHECK_CONTAINS(found, part) check_contains((found), (part), __FILE__, __LINE__)

/* A measured figure, printed with the result. */
void measured(const char *what, double value, const char *unit);

/* The NIST table, given on the command line. */
extern const char *nist_table_path;

void test_crc32(void);
void test_thermocouple(void);
void test_pid(void);
void test_firing(void);
void test_safety(void);
void test_settings(void);
void test_carry_over(void);
void test_eeprom(void);
void test_converter(void);
void test_text(void);
void test_app(void);

#endif
