#include "http/reading_answer.h"

#include <assert.h>
#include <string.h>

#include "base/arena.h"

static const struct {
    const char *matched, *caution;
} DOUBTS[] = {
    {"mismatch", "{\"code\":\"patient-mismatch\",\"eye\":null,\"text\":"
                 "\"what it says about the patient contradicts itself; "
                 "a person must claim it\"}"},
    {"unknown", "{\"code\":\"patient-unknown\",\"eye\":null,\"text\":"
                "\"nobody, or more than one, fits what it says about the "
                "patient\"}"},
};

static const char *doubt_of(const struct reading_answer *a)
{
    if (a->patient_id && *a->patient_id)
        return NULL;
    for (size_t i = 0; a->matched && i < ARRAY_LEN(DOUBTS); i++)
        if (strcmp(DOUBTS[i].matched, a->matched) == 0)
            return DOUBTS[i].caution;
    return NULL;
}

void reading_answer_write(struct json_out *o, const struct reading_answer *a)
{
    bool claimed = a->patient_id && *a->patient_id;
    const char *doubts[] = {doubt_of(a), a->doubts};
    size_t len = strlen(a->body);
    bool first;

    /* Cautions come last in a body, so more go before its end. */
    assert(len > 2 && a->body[len - 1] == ']');
    first = a->body[len - 2] == '[';
    json_out_object(o, NULL);
    json_out_text(o, "id", a->id);
    json_out_text(o, "status",
        !a->id    ? "preview"
        : claimed ? "claimed"
                  : "unclaimed");
    json_out_text(o, "patient", claimed ? a->patient_id : NULL);
    text_putc(o->to, ',');
    text_put(o->to, a->body, len - 1);
    for (size_t i = 0; i < ARRAY_LEN(doubts); i++) {
        if (!doubts[i])
            continue;
        if (!first)
            text_putc(o->to, ',');
        text_puts(o->to, doubts[i]);
        first = false;
    }
    text_putc(o->to, ']');
    if (a->more) {
        text_putc(o->to, ',');
        text_puts(o->to, a->more);
    }
    json_out_object_end(o);
}

struct reading_answer reading_answer_of(const struct db_rows *rows, size_t i)
{
    return (struct reading_answer){
        .id = db_rows_text(rows, i, 0),
        .patient_id = db_rows_text(rows, i, 1),
        .matched = db_rows_text(rows, i, 3),
        .body = db_rows_text(rows, i, 4),
    };
}
