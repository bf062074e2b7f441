/* instruments/profile_fields.c - which readings a profile makes, and what of
 * them comes from where. */
#include <string.h>

#include "base/num.h"
#include "instruments/profile_inside.h"

static const struct {
    const char *path;
    enum profile_want want;
} TARGETS[] = {
#define TARGET(path, want) {path, want},
#include "instruments/profile_targets.def"
#undef TARGET
};

/* Units by what they measure; power of ten to the target's own. */
static const struct {
    const char *unit;
    enum profile_want want;
    int shift;
} UNITS[] = {
    {"D", PROFILE_POWER, 0},
    {"0.01D", PROFILE_POWER, -2},
    {"0.001D", PROFILE_POWER, -3},
    {"D", PROFILE_AMOUNT, 0},
    {"0.01D", PROFILE_AMOUNT, -2},
    {"0.001D", PROFILE_AMOUNT, -3},
    {"mm", PROFILE_MM, 0},
    {"0.1mm", PROFILE_MM, -1},
    {"0.01mm", PROFILE_MM, -2},
    {"um", PROFILE_MM, -3},
    {"cm", PROFILE_MM, 1},
    {"m", PROFILE_MM, 3},
    {"m", PROFILE_METRE, 0},
    {"cm", PROFILE_METRE, -2},
    {"mm", PROFILE_METRE, -3},
    {"1", PROFILE_NUMBER, 0},
    {"0.1", PROFILE_NUMBER, -1},
    {"0.01", PROFILE_NUMBER, -2},
    {"0.001", PROFILE_NUMBER, -3},
    {"0.0001", PROFILE_NUMBER, -4},
};

static const char *const EYES[] = {
    "/{eye}", "/right", "/left", "/both", "/unspecified"};

/* Behind the eye that path begins with, else NULL. */
static const char *behind_eye(const char *path)
{
    for (size_t i = 0; i < ARRAY_LEN(EYES); i++) {
        size_t n = strlen(EYES[i]);

        if (strncmp(path, EYES[i], n) == 0 && path[n] == '/')
            return path + n;
    }
    return NULL;
}

/* Bytes of an item's place ("-", or 0 to 99), 0: it is none. */
static size_t item_length(const char *s)
{
    size_t n = strcspn(s, "/");

    if (n == 1 && *s == '-')
        return 1;
    if (n >= 1 && n <= 2 && strspn(s, "0123456789") >= n &&
        (n == 1 || *s != '0'))
        return n;
    return 0;
}

static bool fits(const char *pattern, const char *path)
{
    while (*pattern && *path) {
        if (*pattern == '#') {
            size_t n = item_length(path);

            if (n == 0)
                return false;
            path += n;
            pattern++;
        } else if (*pattern++ != *path++) {
            return false;
        }
    }
    return *pattern == *path;
}

/* True of members that say how, and not what, was measured. */
static bool is_second(const char *rest)
{
    static const char *const names[] = {"/confidence", "/base", "/notation",
        "/index", "/add_distance_mm", "/intermediate_add_distance_mm",
        "/second_add_distance_mm"};
    const char *last = strrchr(rest, '/');

    for (size_t i = 0; i < ARRAY_LEN(names); i++)
        if (strcmp(last, names[i]) == 0)
            return true;
    return false;
}

static bool read_target(struct json_in in, struct profile_field *f)
{
    const char *path, *rest;

    if (!json_in_need(in) || !json_in_line(in, 100, &path))
        return false;
    rest = behind_eye(path);
    f->to = path;
    f->of_eye = rest != NULL;
    f->second = rest && is_second(rest);
    f->is_cylinder = rest && strlen(rest) >= 9 &&
                     strcmp(rest + strlen(rest) - 9, "/cylinder") == 0;
    for (size_t i = 0; i < ARRAY_LEN(TARGETS); i++) {
        const char *pattern = TARGETS[i].path;
        bool good = *pattern == '*' ? rest && fits(pattern + 1, rest)
                                    : fits(pattern, path);

        if (good) {
            f->want = TARGETS[i].want;
            return true;
        }
    }
    err_fault(in.err, in.pointer, "is nothing of a reading: \"%s\"", path);
    return false;
}

static void read_scalar(struct json_in in, struct profile_scalar *ret)
{
    double limit = 1e6;

    *ret = (struct profile_scalar){PROFILE_NULL, NULL, 0, false};
    if (!json_in_here(in))
        return;
    if (json_is_string(in.value)) {
        if (json_in_line(in, 200, &ret->text))
            ret->type = PROFILE_STRING;
    } else if (json_is_boolean(in.value)) {
        ret->type = PROFILE_BOOL;
        ret->yes = json_is_true(in.value);
    } else if (json_in_number(in, -limit, limit, &ret->number)) {
        ret->type = PROFILE_DOUBLE;
    }
}

static void read_values(struct json_in in, struct profile_field *f)
{
    const char *name;
    json_t *value;

    if (!json_in_here(in))
        return;
    if (!json_is_object(in.value) || json_object_size(in.value) > 200) {
        err_fault(in.err, in.pointer,
            "must be an object of at most 200 texts and what they mean");
        return;
    }
    f->values = arena_calloc(
        in.err->arena, json_object_size(in.value), sizeof(*f->values));
    json_object_foreach ((json_t *)in.value, name, value) {
        struct profile_value *v = &f->values[f->n_values++];

        v->text = arena_strdup(in.err->arena, name);
        read_scalar(json_in_get(in, name), &v->becomes);
    }
}

static void read_unit(struct json_in in, struct profile_field *f)
{
    const char *unit;

    if (!json_in_line(in, 20, &unit))
        return;
    for (size_t i = 0; i < ARRAY_LEN(UNITS); i++) {
        if (UNITS[i].want == f->want && strcmp(UNITS[i].unit, unit) == 0) {
            f->shift = UNITS[i].shift;
            return;
        }
    }
    err_fault(in.err, in.pointer, "is no unit of \"%s\": \"%s\"", f->to, unit);
}

static void read_format(
    struct json_in in, const struct profile *p, struct profile_field *f)
{
    bool time = f->want == PROFILE_TIME;
    const char *why;

    if (!json_in_here(in)) {
        if (f->cells[1] >= 0)
            err_fault(in.err, in.pointer, "is required for two places");
        return;
    }
    if (!time && f->want != PROFILE_DATE) {
        err_fault(in.err, in.pointer, "can stand with a time or a date only");
        return;
    }
    if (!json_in_line(in, 60, &f->format))
        return;
    why = profile_time_refusal(f->format, !time);
    if (why)
        err_fault(in.err, in.pointer, "%s", why);
    if (time && !p->zone_set)
        err_fault(in.err, "/zone", "is required for a time without an offset");
}

static int sort_of(struct json_in in, const struct profile *p)
{
    const char *name;

    if (!json_in_here(in))
        return 0;
    if (p->form != PROFILE_XML && p->form != PROFILE_JSON) {
        err_fault(in.err, in.pointer, "can stand in XML and JSON only");
        return 0;
    }
    if (!json_in_line(in, 60, &name))
        return 0;
    for (size_t i = 1; i < p->n_sorts; i++)
        if (p->sorts[i].name && strcmp(p->sorts[i].name, name) == 0)
            return (int)i;
    err_fault(in.err, in.pointer, "is no row of this profile: \"%s\"", name);
    return 0;
}

/* A path, or two whose texts stand behind each other. */
static void read_from(
    struct json_in in, int sort, struct profile *p, struct profile_field *f)
{
    const char *path;
    size_t n;

    if (!json_is_array(in.value)) {
        if (json_is_string(in.value) && !*json_string_value(in.value) &&
            p->form == PROFILE_JSON)
            f->cells[0] = profile_cell_of(p, sort, "", in);
        else if (json_in_line(in, 300, &path))
            f->cells[0] = profile_cell_of(p, sort, path, in);
        return;
    }
    if (f->want != PROFILE_TIME)
        err_fault(in.err, in.pointer, "can be two places for a time only");
    if (!json_in_array(in, 2, 2, &n))
        return;
    for (size_t i = 0; i < n; i++) {
        struct json_in at = json_in_item(in, i);

        if (json_in_need(at) && json_in_line(at, 300, &path))
            f->cells[i] = profile_cell_of(p, sort, path, at);
    }
}

static void read_field(
    struct json_in in, struct profile *p, struct profile_field *f)
{
    static const char *const names[] = {"to", "from", "value", "row", "unit",
        "unsigned", "before", "suffix", "format", "values", "not_measured",
        NULL};
    static const char *const means[] = {"refuse", "plus", "minus", NULL};
    struct json_in from = json_in_get(in, "from");
    struct json_in value = json_in_get(in, "value");
    int sort = sort_of(json_in_get(in, "row"), p), word;

    f->cells[0] = f->cells[1] = -1;
    json_in_object(in, names);
    if (!read_target(json_in_get(in, "to"), f))
        return;
    if (json_in_here(from) == json_in_here(value))
        err_fault(in.err, in.pointer, "must have one of from and value");
    if (json_in_here(from))
        read_from(from, sort, p, f);
    f->constant = json_in_here(value);
    read_scalar(value, &f->value);
    f->unsigned_means = p->unsigned_means;
    if (json_in_choice(json_in_get(in, "unsigned"), means, &word))
        f->unsigned_means = (enum profile_unsigned)word;
    read_unit(json_in_get(in, "unit"), f);
    json_in_text(json_in_get(in, "before"), 40, &f->before);
    if (f->before)
        f->before = arena_strdup(in.err->arena, f->before);
    json_in_line(json_in_get(in, "suffix"), 20, &f->suffix);
    read_format(json_in_get(in, "format"), p, f);
    read_values(json_in_get(in, "values"), f);
    profile_words_read(json_in_get(in, "not_measured"), 50, &f->not_measured);
    if (strncmp(f->to, "/{eye}/", 7) == 0 && !p->eye.here &&
        p->form != PROFILE_LINES && p->n_sorts < 2)
        err_fault(in.err, json_in_get(in, "to").pointer,
            "needs \"eye\", which says where the eye stands");
}

static void read_condition(
    struct json_in in, struct profile *p, struct profile_condition *c)
{
    static const char *const names[] = {"from", "here", "is", NULL};
    struct json_in from = json_in_get(in, "from");
    const char *path;

    c->cell = -1;
    c->here = true;
    json_in_object(in, names);
    json_in_bool(json_in_get(in, "here"), &c->here);
    profile_words_read(json_in_get(in, "is"), 50, &c->is);
    if (json_in_here(json_in_get(in, "is")) &&
        json_in_here(json_in_get(in, "here")))
        err_fault(in.err, in.pointer, "must have one of here and is");
    if (json_in_need(from) && json_in_line(from, 300, &path))
        c->cell = profile_cell_of(p, 0, path, from);
}

static void read_when(
    struct json_in in, struct profile *p, struct profile_mapping *m)
{
    size_t n;

    if (!json_in_array(in, 1, 10, &n))
        return;
    m->when = arena_calloc(in.err->arena, n, sizeof(*m->when));
    m->n_when = n;
    for (size_t i = 0; i < n; i++)
        read_condition(json_in_item(in, i), p, &m->when[i]);
}

static void read_mapping(
    struct json_in in, struct profile *p, struct profile_mapping *m)
{
    static const char *const names[] = {
        "kind", "cylinder", "when", "fields", NULL};
    static const char *const cylinders[] = {"either", "minus", "plus", NULL};
    struct json_in kind = json_in_get(in, "kind");
    struct json_in fields = json_in_get(in, "fields");
    size_t n;
    int word;

    json_in_object(in, names);
    if (json_in_need(kind) && json_in_choice(kind, RECORD_KIND_WORDS, &word))
        m->kind = RECORD_KIND_WORDS[word];
    if (json_in_choice(json_in_get(in, "cylinder"), cylinders, &word))
        m->cylinder = (enum profile_cylinder)word;
    read_when(json_in_get(in, "when"), p, m);
    if (!json_in_need(fields) ||
        !json_in_array(fields, 1, PROFILE_FIELDS_MAX, &n))
        return;
    m->fields = arena_calloc(in.err->arena, n, sizeof(*m->fields));
    m->n_fields = n;
    for (size_t i = 0; i < n; i++)
        read_field(json_in_item(fields, i), p, &m->fields[i]);
}

void profile_mappings_read(struct json_in in, struct profile *p)
{
    size_t n;

    if (!json_in_need(in) || !json_in_array(in, 1, PROFILE_READINGS_MAX, &n))
        return;
    p->readings = arena_calloc(in.err->arena, n, sizeof(*p->readings));
    p->n_readings = n;
    for (size_t i = 0; i < n; i++)
        read_mapping(json_in_item(in, i), p, &p->readings[i]);
}
