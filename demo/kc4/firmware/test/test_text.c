#include <stdio.h>
#include <string.h>

#include "bench_board.h"
#include "check.h"
#include "text.h"

static const char *shown(float value, int places)
{
    bench_forget();
    text_decimal(value, places);
    return bench.said;
}

static void decimals(void)
{
    CHECK_TEXT(shown(0, 1), "0.0");
    CHECK_TEXT(shown(-0.04f, 1), "0.0");
    CHECK_TEXT(shown(-1.25f, 2), "-1.25");
    CHECK_TEXT(shown(999.96f, 1), "1000.0");
    CHECK_TEXT(shown(1e30f, 0), "200000");
    CHECK_TEXT(shown(-1e30f, 4), "-200000.0000");
    for (int tenths = -3000; tenths <= 30000; tenths++) {
        char expected[32];
        snprintf(expected, sizeof expected, "%s%d.%d", tenths < 0 ? "-" : "", (tenths < 0 ? -tenths : tenths) / 10,
                 (tenths < 0 ? -tenths : tenths) % 10);
        CHECK_TEXT(shown((float)tenths / 10.0f, 1), expected);
    }
}

static void numbers(void)
{
    float value = 7;
    CHECK(text_number("12", &value) && value == 12);
    CHECK(text_number("-3.5", &value) && value == -3.5f);
    CHECK(text_number("0.9985", &value));
    CHECK_NEAR(value, 0.9985, 1e-7);
    CHECK(text_number("+.5", &value) && value == 0.5f);
    value = 7;
    const char *const bad[] = {"", "-", ".", "1.2.3", "1e3", "12x", "1000001", "1234567890123", "nan", " 1"};
    for (size_t i = 0; i < sizeof bad / sizeof bad[0]; i++)
        CHECK(!text_number(bad[i], &value) && value == 7);
}

static void words(void)
{
    char line[] = "  step 1  2 ";
    char *rest = line;
    CHECK_TEXT(text_word(&rest), "step");
    CHECK_TEXT(text_word(&rest), "1");
    CHECK_TEXT(text_word(&rest), "2");
    CHECK_TEXT(text_word(&rest), "");
    CHECK_TEXT(text_word(&rest), "");
    CHECK(text_same("a", "a") && !text_same("a", "ab") && !text_same("ab", "a") && text_same("", ""));
}

void test_text(void)
{
    decimals();
    numbers();
    words();
}
