/* Powers in ready JSON, found by the run of members that power.c writes:
 * "sphere":S,"cylinder":C,"axis":A.  A quote inside a text is escaped, so no
 * text can hold the run. */
#include <string.h>

#include "base/num.h"
#include "record/power.h"

static const char SPHERE[] = "\"sphere\":";
static const char CYLINDER[] = ",\"cylinder\":";
static const char AXIS[] = ",\"axis\":";

/* What is left of the JSON. */
struct rest {
    const char *at, *end;
};

static bool take(struct rest *r, const char *word)
{
    size_t len = strlen(word);

    if ((size_t)(r->end - r->at) < len || memcmp(r->at, word, len) != 0)
        return false;
    r->at += len;
    return true;
}

/* A number in ten-thousandths, and how many decimals it was written with. */
static bool take_number(struct rest *r, int64_t *ret_e4, int *ret_places)
{
    const char *start = r->at, *point = NULL;

    for (; r->at < r->end && strchr("+-.0123456789", *r->at); r->at++)
        if (*r->at == '.')
            point = r->at;
    *ret_places = point ? (int)(r->at - point - 1) : 0;
    return num_parse(start, (size_t)(r->at - start), 4, INT32_MAX, ret_e4);
}

struct run {
    int64_t sph, cyl, axis; /* ten-thousandths */
    int sph_places, cyl_places;
};

static bool take_run(struct rest *r, struct run *run)
{
    int places;

    return take(r, SPHERE) && take_number(r, &run->sph, &run->sph_places) &&
           take(r, CYLINDER) && take_number(r, &run->cyl, &run->cyl_places) &&
           take(r, AXIS) && take_number(r, &run->axis, &places);
}

/* Two decimals as a power is written, or a computed figure with zeros cut. */
static void put_number(
    struct text *to, const char *key, int64_t e4, bool computed)
{
    char buf[NUM_TEXT_MAX];

    text_puts(to, key);
    if (computed)
        text_puts(to, num_trim((double)e4 / 1e4, 4, buf));
    else
        text_puts(to, num_text(e4 / 100, 2, buf));
}

/* The same lens with the other sign of cylinder. */
static void put_turned(struct text *to, const struct run *run)
{
    bool computed = run->sph_places != 2 || run->cyl_places != 2;
    int64_t axis =
        run->axis <= 900000 ? run->axis + 900000 : run->axis - 900000;

    put_number(to, SPHERE, run->sph + run->cyl, computed);
    put_number(to, CYLINDER, -run->cyl, computed);
    put_number(to, AXIS, axis, true);
}

/* True when what stands before from says that this power is as sent. */
static bool as_sent(const char *start, const char *from)
{
    static const char *const marks[] = {
        "\"form\":\"minus\",", "\"form\":\"plus\","};

    for (size_t i = 0; i < 2; i++) {
        size_t len = strlen(marks[i]);

        if ((size_t)(from - start) >= len &&
            memcmp(from - len, marks[i], len) == 0)
            return true;
    }
    return false;
}

void record_power_view(
    const char *json, size_t len, enum optics_form form, struct text *to)
{
    const char *end = json + len, *copied = json, *at = json;

    while ((at = memmem(at, (size_t)(end - at), SPHERE, strlen(SPHERE)))) {
        struct rest rest = {at, end};
        struct run run;
        bool turn = take_run(&rest, &run) && !as_sent(json, at) &&
                    (form == OPTICS_PLUS_CYL ? run.cyl < 0 : run.cyl > 0);

        if (turn) {
            text_put(to, copied, (size_t)(at - copied));
            put_turned(to, &run);
            copied = rest.at;
        }
        at = rest.at;
    }
    text_put(to, copied, (size_t)(end - copied));
}
