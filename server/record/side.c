#include "record/side.h"

#include <stddef.h>

const char *const RECORD_LENS_WORDS[] = {
    "power", "balance", "occluder", "prosthesis", "none", NULL};

const char *const RECORD_PURPOSES[] = {"distance", "intermediate", "near",
    "occupational", "driving", "sun", "sport", "safety", "other", NULL};

const char *record_side_word(enum record_side side)
{
    static const char *const words[] = {"right", "left", "both", "unspecified"};

    return words[side];
}
