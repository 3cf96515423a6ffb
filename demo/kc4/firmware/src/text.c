#include "text.h"

#include "board.h"

void text_put(const char *text)
{
    while (*text != '\0')
        board_console_put(*text++);
}

void text_put_part(const char *text, size_t longest)
{
    for (size_t i = 0; i < longest && text[i] != '\0'; i++)
        board_console_put(text[i]);
}

void text_line(const char *text)
{
    text_put(text);
    text_put("\r\n");
}

void text_unsigned(uint32_t value, int least_digits)
{
    char digits[10];
    int count = 0;
    do {
        digits[count++] = (char)('0' + value % 10);
        value /= 10;
    } while (value > 0 && count < 10);
    for (int pad = count; pad < least_digits; pad++)
        board_console_put('0');
    while (count > 0)
        board_console_put(digits[--count]);
}

void text_decimal(float value, int places)
{
    if (!(value > -200000.0f))
        value = -200000.0f;
    if (value > 200000.0f)
        value = 200000.0f;
    uint32_t scale = 1;
    for (int i = 0; i < places; i++)
        scale *= 10;
    bool negative = value < 0.0f;
    uint32_t scaled = (uint32_t)((negative ? -value : value) * (float)scale + 0.5f);
    if (negative && scaled > 0)
        board_console_put('-');
    text_unsigned(scaled / scale, 1);
    if (places > 0) {
        board_console_put('.');
        text_unsigned(scaled % scale, places);
    }
}

bool text_number(const char *text, float *value)
{
    bool negative = *text == '-';
    if (negative || *text == '+')
        text++;
    float sum = 0.0f;
    float place = 1.0f;
    bool fraction = false;
    int digits = 0;
    for (; *text != '\0'; text++) {
        if (*text == '.' && !fraction) {
            fraction = true;
            continue;
        }
        if (*text < '0' || *text > '9' || digits++ >= 9)
            return false;
        if (fraction)
            place *= 10.0f;
        sum = sum * 10.0f + (float)(*text - '0');
    }
    sum /= place;
    if (digits == 0 || sum > 1000000.0f)
        return false;
    *value = negative ? -sum : sum;
    return true;
}

char *text_word(char **rest)
{
    char *at = *rest;
    while (*at == ' ')
        at++;
    char *word = at;
    while (*at != '\0' && *at != ' ')
        at++;
    if (*at == ' ')
        *at++ = '\0';
    *rest = at;
    return word;
}

bool text_same(const char *left, const char *right)
{
    while (*left == *right && *left != '\0') {
        left++;
        right++;
    }
    return *left == *right;
}
