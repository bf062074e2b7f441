#include "record/noise.h"

#include <string.h>

#include "base/arena.h"
#include "optics/blur.h"

static const struct record_noise BANDS[] = {
    {"autorefraction", 0.51, OPTICS_NOISE_J,
        "two automated objective refractions of one eye differ by -0.51 to "
        "+0.45 D of spherical equivalent in 95 of 100 (Sheedy, Schanz & "
        "Bullimore 2004, abstract); astigmatic part under 0.25 D (common "
        "practice)"},
    {"", OPTICS_NOISE_M, OPTICS_NOISE_J,
        "a shift of less than 0.50 D of spherical equivalent is not "
        "significant (Rosenfield & Chiu 1995, abstract); astigmatic part "
        "under 0.25 D (common practice)"},
};

const struct record_noise *record_noise_of(
    const struct record_entry *old_entry, const struct record_entry *new_entry)
{
    size_t i = 0;

    for (; BANDS[i].kind[0]; i++)
        if (strcmp(BANDS[i].kind, old_entry->kind) == 0 &&
            strcmp(BANDS[i].kind, new_entry->kind) == 0)
            break;
    return &BANDS[i];
}
