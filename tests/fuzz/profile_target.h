#pragma once
/*
 * tests/fuzz/profile_target.h - any bytes through a field profile.
 */
#include <stddef.h>
#include <stdint.h>

/* Decodes bytes by the profile of deploy/profiles; rows also in pieces, which
 * must come to the same.  Aborts on a broken promise. */
void profile_target(const char *profile, const uint8_t *bytes, size_t len);
