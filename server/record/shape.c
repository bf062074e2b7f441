#include "record/shape.h"

#include "base/num.h"

#define MEMBERS_MAX 24

static void copy_number(
    struct json_in in, const struct record_shape *s, struct json_out *o)
{
    static const double unit[] = {1, 10, 100, 1000};
    int32_t figure;

    if (!json_in_scaled(in, s->places, s->range, &figure))
        return;
    if (s->what == RECORD_SHAPE_FIXED)
        json_out_scaled(o, s->name, figure, s->places);
    else
        json_out_number(o, s->name, figure / unit[s->places], s->places);
}

static void copy_word(struct json_in in, const struct record_shape *s,
    const char *key, struct json_out *o)
{
    int word;

    if (json_in_choice(in, s->words, &word))
        json_out_text(o, key, s->words[word]);
}

static void copy_id(struct json_in in, const char *key, struct json_out *o)
{
    const char *id;

    if (json_in_uuid(in, &id))
        json_out_text(o, key, id);
}

static void copy_list(
    struct json_in in, const struct record_shape *s, struct json_out *o)
{
    size_t n;

    if (!json_in_array(in, 0, s->max, &n))
        return;
    json_out_array(o, s->name);
    for (size_t i = 0; i < n; i++) {
        struct json_in item = json_in_item(in, i);

        if (!json_in_here(item))
            err_fault(in.err, item.pointer, "must not be null");
        else if (s->what == RECORD_SHAPE_WORDS)
            copy_word(item, s, NULL, o);
        else if (s->what == RECORD_SHAPE_IDS)
            copy_id(item, NULL, o);
        else
            record_shape_copy(item, s->members, o, NULL);
    }
    json_out_array_end(o);
}

static void copy_member(
    struct json_in in, const struct record_shape *s, struct json_out *o)
{
    const char *text;
    bool yes;

    switch (s->what) {
    case RECORD_SHAPE_TEXT:
        if (json_in_text(in, s->max, &text))
            json_out_text(o, s->name, text);
        break;
    case RECORD_SHAPE_NUMBER:
    case RECORD_SHAPE_FIXED:
        copy_number(in, s, o);
        break;
    case RECORD_SHAPE_WORD:
        copy_word(in, s, s->name, o);
        break;
    case RECORD_SHAPE_YES:
        if (json_in_bool(in, &yes))
            json_out_bool(o, s->name, yes);
        break;
    case RECORD_SHAPE_ID:
        copy_id(in, s->name, o);
        break;
    case RECORD_SHAPE_OBJECT:
        if (json_in_here(in))
            record_shape_copy(in, s->members, o, s->name);
        break;
    default:
        copy_list(in, s, o);
    }
}

bool record_shape_copy(struct json_in in, const struct record_shape *members,
    struct json_out *o, const char *key)
{
    const char *names[MEMBERS_MAX + 1] = {NULL};
    size_t before = in.err->n_faults;

    for (size_t i = 0; i < MEMBERS_MAX && members[i].name; i++)
        names[i] = members[i].name;
    json_in_object(in, names);
    json_out_object(o, key);
    for (; json_is_object(in.value) && members->name; members++) {
        struct json_in at = json_in_get(in, members->name);

        if (members->needed)
            json_in_need(at);
        copy_member(at, members, o);
    }
    json_out_object_end(o);
    return in.err->n_faults == before;
}
