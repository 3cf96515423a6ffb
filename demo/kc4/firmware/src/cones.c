#include "cones.h"

#include "memory.h"

/* End points from memory, rounded to 5 C: common practice in studios, no source. The KC-4 is invented, and no kiln
   should be fired by this table. */
static const struct cone cones[] = {
    {"022", 585}, {"021", 600}, {"020", 625}, {"019", 680}, {"018", 715}, {"017", 740}, {"016", 770},
    {"015", 790}, {"014", 805}, {"013", 835}, {"012", 860}, {"011", 875}, {"010", 905}, {"09", 920},
    {"08", 940},  {"07", 975},  {"06", 1000}, {"05", 1030}, {"04", 1065}, {"03", 1085}, {"02", 1100},
    {"01", 1120}, {"1", 1135},  {"2", 1140},  {"3", 1150},  {"4", 1160},  {"5", 1185},  {"6", 1220},
    {"7", 1240},  {"8", 1250},  {"9", 1260},  {"10", 1285},
};

size_t cone_count(void)
{
    return sizeof cones / sizeof cones[0];
}

const struct cone *cone_at(size_t index)
{
    return index < cone_count() ? &cones[index] : NULL;
}

const struct cone *cone_named(const char *name)
{
    for (size_t i = 0; i < cone_count(); i++) {
        size_t c = 0;
        while (name[c] == cones[i].name[c] && name[c] != '\0')
            c++;
        if (name[c] == '\0' && cones[i].name[c] == '\0')
            return &cones[i];
    }
    return NULL;
}

/* log2 of a positive number, by halving and doubling into [1, 2) and a chord: within 0.09, which is 1 C here. */
static float log2_roughly(float x)
{
    float whole = 0.0f;
    while (x >= 2.0f) {
        x *= 0.5f;
        whole += 1.0f;
    }
    while (x < 1.0f) {
        x *= 2.0f;
        whole -= 1.0f;
    }
    return whole + (x - 1.0f);
}

float cone_end_c(const struct cone *cone, float rate_c_per_h)
{
    /* About 14 C for a doubling of the rate: the usual rule of thumb (from memory). Kept to rates that occur. */
    float rate = rate_c_per_h < 15.0f ? 15.0f : rate_c_per_h > 300.0f ? 300.0f : rate_c_per_h;
    return (float)cone->end_c + 14.0f * log2_roughly(rate / 60.0f);
}

void cone_programme(const struct cone *cone, struct programme *programme)
{
    const float last_rate = 60.0f;
    float end = cone_end_c(cone, last_rate);
    memset(programme, 0, sizeof *programme);
    memcpy(programme->name, "CONE ", 5);
    for (size_t i = 0; i < sizeof cone->name && cone->name[i] != '\0'; i++)
        programme->name[5 + i] = cone->name[i];
    programme->step_count = 4;
    programme->steps[0] = (struct step){80.0f, 120.0f, 20};
    programme->steps[1] = (struct step){100.0f, 550.0f, 0};
    programme->steps[2] = (struct step){150.0f, end - 30.0f > 560.0f ? end - 30.0f : 560.0f, 0};
    programme->steps[3] = (struct step){last_rate, end, 10};
}
