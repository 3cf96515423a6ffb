/* Pyrometric cones: potters know a firing's end by the cone that bends, not by degrees. */
#ifndef KC4_CONES_H
#define KC4_CONES_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "config.h"

struct cone {
    char name[4];  /* "022" to "10", NUL-terminated */
    int16_t end_c; /* where it bends when the last 100 C are climbed at 60 C per hour */
};

size_t cone_count(void);
const struct cone *cone_at(size_t index);        /* NULL past the last */
const struct cone *cone_named(const char *name); /* NULL if there is none */

/* End temperature at another rate. A cone takes heat work, so it bends earlier when heated slowly. Rate above 0. */
float cone_end_c(const struct cone *cone, float rate_c_per_h);

/* A four-step programme that ends at the cone. */
void cone_programme(const struct cone *cone, struct programme *programme);

#endif
