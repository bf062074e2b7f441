#include "reading_target.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>

#include "base/arena.h"
#include "instruments/format.h"
#include "record/caution.h"
#include "record/reading_json.h"

static void check_json(const struct text *inside)
{
    TEXT_AUTO t = {0};
    json_error_t e;
    json_t *json;

    text_putc(&t, '{');
    text_put(&t, inside->data, inside->len);
    text_putc(&t, '}');
    json = json_loadb(t.data, t.len, JSON_REJECT_DUPLICATES, &e);
    PROMISE(json != NULL);
    json_decref(json);
}

void reading_target_check(struct record_reading *r)
{
    uint8_t hash[RECORD_HASH_SIZE];
    TEXT_AUTO entry = {0};
    TEXT_AUTO plus = {0};
    TEXT_AUTO minus = {0};
    bool any = false;

    record_reading_caution(r, 0);
    for (int side = 0; side < RECORD_SIDES; side++) {
        const struct record_reading_eye *eye = &r->eyes[side];

        any = any || eye->here;
        if (eye->source == RECORD_FROM_NOTHING)
            continue;
        PROMISE(optics_rx_check(eye->power) == OPTICS_OK);
        PROMISE(eye->power.cyl_cd <= 0);
    }
    PROMISE(any);
    record_reading_json(r, &entry);
    check_json(&entry);
    record_power_view(entry.data, entry.len, OPTICS_PLUS_CYL, &plus);
    check_json(&plus);
    record_power_view(plus.data, plus.len, OPTICS_MINUS_CYL, &minus);
    check_json(&minus);
    record_reading_hash(r, hash);
}

void reading_target(const char *media_type, const uint8_t *bytes, size_t len)
{
    const struct instruments_format *format = instruments_format_of(media_type);
    struct instruments_input in = {.bytes = (const char *)bytes, .len = len};
    struct instruments_readings readings = {0};
    struct arena *arena = arena_new();
    struct err err = ERR_INIT(arena);
    enum rc rc = format->decode(&in, &readings, &err);

    (void)instruments_format_probe(in.bytes, len);
    PROMISE((rc == RC_OK) == (err.n_faults == 0));
    PROMISE(rc == RC_OK || rc == RC_INVALID || rc == RC_SYNTAX);
    PROMISE((rc == RC_OK) == (readings.n > 0));
    for (size_t i = 0; i < readings.n; i++)
        reading_target_check(readings.items[i]);
    arena_free(arena);
}
