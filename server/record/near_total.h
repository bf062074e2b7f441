#pragma once
/*
 * record/near_total.h - a near power sent as a whole ("near_total", the sphere
 * of the near glasses) instead of an add.
 */
#include <jansson.h>

#include "base/json_in.h"

/*
 * Readies merged, a body into which patch was merged, for its near_totals: an
 * add that stood before gives way to one in subjective or final, which
 * record_eye_read computes; in the section near, "add" and "add_from" take its
 * place, measured from the final's sphere, else the subjective's, else the
 * working refraction's.  An add sent alone takes an add_from that stood away.
 * Faults have pointers into the body.
 */
void record_near_totals(struct json_in patch, json_t *merged);
