/* Numbers and words to the console, and back. */
#ifndef KC4_TEXT_H
#define KC4_TEXT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

void text_put(const char *text);
void text_put_part(const char *text, size_t longest); /* up to a NUL */
void text_line(const char *text);                     /* and ends the line */
void text_unsigned(uint32_t value, int least_digits);
void text_decimal(float value, int places); /* 0 to 4 places; held within +-200000 */

/* A decimal number such as 12, -3.5 or 0.9985. False (and *value kept) for anything else or beyond +-1000000. */
bool text_number(const char *text, float *value);

/* Cuts the next word off a line: puts a NUL after it and moves *rest on. "" at the end. */
char *text_word(char **rest);

bool text_same(const char *left, const char *right);

#endif
