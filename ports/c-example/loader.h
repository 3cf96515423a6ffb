/*
 * The loader: the installer's requests, one by one, carried out by the board's drivers.
 *
 * SPDX-License-Identifier: MIT OR Apache-2.0
 */
#ifndef LOADER_H
#define LOADER_H

#include "drivers.h"

/* All the memory that an update needs, the stack aside. One of these, static. */
struct loader {
    struct packstaff_installer machine;
    struct packstaff_request request;
    struct packstaff_reply reply;
    uint8_t buffer[PACKSTAFF_STICK_BLOCK];
};

/* From power-up to the start of the image. */
void loader_run(struct loader *loader, const struct packstaff_config *config);

/* Carries out a request that needs flash or the stick alone, and fills in the reply; false if it is of another kind. */
bool loader_look_or_change(const struct packstaff_config *config, const struct packstaff_request *request,
                           struct packstaff_reply *reply, uint8_t buffer[PACKSTAFF_STICK_BLOCK]);

/* Puts on the screen what a request to ask, to tell or to wait wants the owner to see. */
void loader_show(struct packstaff_installer *machine, const struct packstaff_request *request);

#endif
