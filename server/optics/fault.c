#include "optics/fault.h"

static const struct {
    const char *arg, *why;
    double low, high; /* low > high: no range */
} FAULTS[] = {
    {"", "is right", 1, 0},
#define RANGE(name, arg, low, high, why) {arg, why, low, high},
#define SENSE(name, arg, why) {arg, why, 1, 0},
#include "optics/fault.def"
#undef RANGE
#undef SENSE
};

const char *optics_fault_arg(enum optics_fault fault)
{
    return FAULTS[fault].arg;
}

const char *optics_fault_why(enum optics_fault fault)
{
    return FAULTS[fault].why;
}

enum optics_fault optics_fault_check(enum optics_fault which, double value)
{
    if (FAULTS[which].low > FAULTS[which].high)
        return OPTICS_OK;
    if (value >= FAULTS[which].low && value <= FAULTS[which].high)
        return OPTICS_OK;
    return which;
}

enum optics_fault optics_fault_first(const struct optics_arg args[])
{
    for (; args->which != OPTICS_OK; args++)
        if (optics_fault_check(args->which, args->value) != OPTICS_OK)
            return args->which;
    return OPTICS_OK;
}
