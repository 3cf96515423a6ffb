/*
 * The port's side of the bench line: a judge on a host asks, and the port answers.
 *
 * SPDX-License-Identifier: MIT OR Apache-2.0
 */
#ifndef BENCH_H
#define BENCH_H

#include "loader.h"

/* Answers until the judge resets the board. Never returns on a unit. */
void bench_serve(struct loader *loader);

#endif
