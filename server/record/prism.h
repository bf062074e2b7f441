#pragma once
/*
 * record/prism.h - prism of one eye as its two components, and its JSON.
 *
 * Counted in hundredths of a prism dioptre: base in and base up above 0, base
 * out and base down below.
 */
#include <stdbool.h>
#include <stdint.h>

#include "base/json_in.h"
#include "base/json_out.h"
#include "optics/prism.h"
#include "record/side.h"

struct record_prism {
    bool here; /* false: nothing was said about prism */
    int32_t in_cd;
    int32_t up_cd;
    /* Sent as amount and base direction (0..360 degrees), else NUM_ABSENT. */
    int32_t amount_cd;
    int32_t angle_cdeg;
};

#define RECORD_PRISM_MAX_CD 6000

/*
 * Reads a list of {"amount","base"} with at most one horizontal and one
 * vertical, or of one {"amount","angle"}: base direction anticlockwise as the
 * examiner sees it, 0 towards the patient's left, so that the side decides
 * between in and out.  True when *ret was written.
 */
bool record_prism_read(
    struct json_in in, enum record_side side, struct record_prism *ret);

/* Writes the list under key; nothing when prism isn't here. */
void record_prism_write(
    struct json_out *o, const char *key, const struct record_prism *prism);

/* The same for the optics core; none where nothing was said. */
struct optics_prism record_prism_optics(const struct record_prism *prism);
