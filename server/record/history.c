#include "record/history.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/instant.h"

#define DAY_US INT64_C(86400000000)
#define YEAR_DAYS 365.25

static const struct {
    const char *kind;
    enum optics_method method;
} METHODS[] = {
    {"autorefraction", OPTICS_BY_AUTOREFRACTION},
    {"retinoscopy", OPTICS_BY_RETINOSCOPY},
    {"lensometry", OPTICS_BY_LENSOMETRY},
    {"prescription", OPTICS_BY_LENSOMETRY},
    {"typed", OPTICS_BY_LENSOMETRY},
};

static enum optics_method method_of(const char *kind)
{
    for (size_t i = 0; i < sizeof(METHODS) / sizeof(METHODS[0]); i++)
        if (strcmp(METHODS[i].kind, kind) == 0)
            return METHODS[i].method;
    return OPTICS_BY_SUBJECTIVE; /* subjective, and what was signed */
}

bool record_past_glasses(const struct record_past *past)
{
    return method_of(past->kind) == OPTICS_BY_LENSOMETRY;
}

bool record_past_cycloplegic(const struct record_past *past)
{
    return strstr(past->condition_key, "/cycloplegic") != NULL;
}

struct optics_entry record_past_entry(
    const struct record_past *past, int64_t now_us)
{
    struct optics_entry e = {.method = method_of(past->kind),
        .cycloplegic = record_past_cycloplegic(past),
        .years_before =
            (double)(now_us - past->at_us) / (double)DAY_US / YEAR_DAYS};

    e.years_before = fmin(130, fmax(0, e.years_before));
    for (int eye = 0; eye < 2; eye++) {
        e.has[eye] = past->has[eye];
        if (past->has[eye])
            e.eye[eye] = optics_vector_power(past->eyes[eye], OPTICS_MINUS_CYL);
    }
    return e;
}

double record_age_years(const char *born, int64_t at_us)
{
    int64_t days;
    double age;

    if (!born || strlen(born) < 4)
        return OPTICS_AGE_UNKNOWN;
    if (strlen(born) >= 10)
        days = instant_days((int)strtol(born, NULL, 10),
            (int)strtol(born + 5, NULL, 10), (int)strtol(born + 8, NULL, 10));
    else if (strlen(born) >= 7)
        days = instant_days(
            (int)strtol(born, NULL, 10), (int)strtol(born + 5, NULL, 10), 15);
    else
        days = instant_days((int)strtol(born, NULL, 10), 7, 1);
    age = ((double)at_us / (double)DAY_US - (double)days) / YEAR_DAYS;
    return age < 0 || age > 130 ? OPTICS_AGE_UNKNOWN : age;
}
