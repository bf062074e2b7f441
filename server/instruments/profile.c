/* instruments/profile.c - a profile's document. */
#include "instruments/profile.h"

#include <stdio.h>
#include <string.h>

#include "base/instant.h"
#include "instruments/profile_inside.h"

static const char *const FORMS[] = {
    "delimited", "fixed", "lines", "xml", "json", NULL};

bool profile_takes(const struct profile *profile, const char *media_type)
{
    static const struct {
        const char *media_type;
        unsigned forms;
    } TAKES[] = {
        {"text/csv", 1u << PROFILE_DELIMITED | 1u << PROFILE_FIXED},
        {"text/plain", 1u << PROFILE_DELIMITED | 1u << PROFILE_FIXED |
                           1u << PROFILE_LINES},
        {"application/xml", 1u << PROFILE_XML},
        {"text/xml", 1u << PROFILE_XML},
        {"application/json", 1u << PROFILE_JSON},
    };

    for (size_t i = 0; i < ARRAY_LEN(TAKES); i++)
        if (strcmp(TAKES[i].media_type, media_type) == 0)
            return (TAKES[i].forms & 1u << profile->form) != 0;
    return false;
}

const char *profile_form(const struct profile *profile)
{
    return FORMS[profile->form];
}

bool profile_by_rows(const struct profile *profile)
{
    return profile->form == PROFILE_DELIMITED || profile->form == PROFILE_FIXED;
}

bool profile_words_hold(const struct profile_words *words, const char *text)
{
    for (size_t i = 0; i < words->n; i++)
        if (strcmp(words->items[i], text) == 0)
            return true;
    return false;
}

bool profile_words_read(
    struct json_in in, size_t max, struct profile_words *ret)
{
    size_t n, before = in.err->n_faults;

    if (!json_in_array(in, 0, max, &n))
        return false;
    ret->items = arena_calloc(in.err->arena, n, sizeof(*ret->items));
    ret->n = 0;
    for (size_t i = 0; i < n; i++) {
        struct json_in at = json_in_item(in, i);

        if (json_in_need(at) && json_in_line(at, 200, &ret->items[ret->n]))
            ret->n++;
    }
    return in.err->n_faults == before;
}

/* ---- cells ------------------------------------------------------------- */

static bool names_column(const struct profile *p, const char *name)
{
    for (size_t i = 0; i < p->n_columns; i++)
        if (strcmp(p->columns[i].name, name) == 0)
            return true;
    return false;
}

static bool good_path(
    const struct profile *p, const char *path, struct json_in in)
{
    const char *why;

    if (p->form == PROFILE_XML) {
        if (profile_xpath_good(path, &why))
            return true;
        err_fault(in.err, in.pointer, "is no XPath: %s", why);
    } else if (p->form == PROFILE_JSON) {
        if (*path == '/' || !*path)
            return true;
        err_fault(in.err, in.pointer, "must be a JSON Pointer, as /right/sph");
    } else if (p->form == PROFILE_LINES) {
        err_fault(
            in.err, in.pointer, "is captured by no pattern: \"%s\"", path);
    } else {
        if (p->header || names_column(p, path))
            return true;
        err_fault(in.err, in.pointer, "is no column: \"%s\"", path);
    }
    return false;
}

static int find_cell(const struct profile *p, int sort, const char *path)
{
    for (size_t i = 0; i < p->n_cells; i++)
        if (p->cells[i].sort == sort && strcmp(p->cells[i].path, path) == 0)
            return (int)i;
    return -1;
}

static int add_cell(
    struct profile *p, int sort, const char *path, struct json_in in)
{
    if (p->n_cells == PROFILE_CELLS_MAX) {
        err_fault(in.err, in.pointer, "is one place too many; %d can be named",
            PROFILE_CELLS_MAX);
        return -1;
    }
    p->cells[p->n_cells] =
        (struct profile_cell_at){sort, arena_strdup(in.err->arena, path)};
    return (int)p->n_cells++;
}

int profile_cell_of(
    struct profile *p, int sort, const char *path, struct json_in in)
{
    int found;

    if (p->form == PROFILE_LINES)
        sort = -1;
    found = find_cell(p, sort, path);
    if (found >= 0 || !good_path(p, path, in))
        return found;
    return add_cell(p, sort, path, in);
}

int profile_capture_of(struct profile *p, const char *name, struct json_in in)
{
    int found = find_cell(p, -1, name);

    return found >= 0 ? found : add_cell(p, -1, name, in);
}

/* ---- forms ------------------------------------------------------------- */

static void read_skip(struct json_in in, struct profile *p)
{
    int64_t skip;

    if (json_in_int(json_in_get(in, "skip"), 0, 1000, &skip))
        p->skip = (size_t)skip;
    json_in_line(json_in_get(in, "remark"), 20, &p->remark);
}

static void add_column(struct json_in in, const char *name,
    struct profile_column *column, struct profile *p)
{
    if (names_column(p, name))
        err_fault(in.err, in.pointer, "names a column twice: \"%s\"", name);
    column->name = name;
    p->n_columns++;
}

static void read_columns(struct json_in in, struct profile *p)
{
    size_t n;

    if (!json_in_array(in, 1, PROFILE_COLUMNS_MAX, &n))
        return;
    p->columns = arena_calloc(in.err->arena, n, sizeof(*p->columns));
    for (size_t i = 0; i < n; i++) {
        struct json_in at = json_in_item(in, i);
        const char *name;

        if (json_in_need(at) && json_in_line(at, 100, &name))
            add_column(at, name, &p->columns[p->n_columns], p);
    }
}

static void read_delimiter(struct json_in in, struct profile *p)
{
    struct json_in delimiter = json_in_get(in, "delimiter");
    struct json_in quote = json_in_get(in, "quote");
    const char *text;

    if (json_in_text(delimiter, 20, &text)) {
        if (strcmp(text, "blanks") == 0)
            p->delimiter = ' ';
        else if (strlen(text) == 1 && strchr(",;\t|:~^!", *text))
            p->delimiter = *text;
        else
            err_fault(in.err, delimiter.pointer,
                "must be \"blanks\" or one of , ; | : ~ ^ ! and tab");
    }
    if (json_in_text(quote, 4, &text)) {
        if (strcmp(text, "none") == 0)
            p->quote = 0;
        else if (strcmp(text, "\"") == 0 || strcmp(text, "'") == 0)
            p->quote = *text;
        else
            err_fault(in.err, quote.pointer, "must be \", ' or none");
    }
}

static void read_delimited(struct json_in in, struct profile *p)
{
    static const char *const names[] = {
        "delimiter", "quote", "header", "columns", "skip", "remark", NULL};
    struct json_in columns = json_in_get(in, "columns");

    p->delimiter = ',';
    p->quote = '"';
    p->header = true;
    json_in_object(in, names);
    read_delimiter(in, p);
    json_in_bool(json_in_get(in, "header"), &p->header);
    read_skip(in, p);
    read_columns(columns, p);
    if (p->header && json_in_here(columns))
        err_fault(in.err, columns.pointer,
            "can't stand beside a header line, which names the columns");
    if (!p->header && !json_in_here(columns))
        err_fault(in.err, columns.pointer, "is required without a header line");
}

static void read_fixed_column(struct json_in in, struct profile *p)
{
    static const char *const names[] = {"name", "from", "length", NULL};
    struct profile_column *column = &p->columns[p->n_columns];
    int64_t from = 1, length = 1;
    const char *name;

    json_in_object(in, names);
    if (json_in_need(json_in_get(in, "from")))
        json_in_int(json_in_get(in, "from"), 1, 10000, &from);
    if (json_in_need(json_in_get(in, "length")))
        json_in_int(json_in_get(in, "length"), 1, 1000, &length);
    column->from = (size_t)from;
    column->length = (size_t)length;
    if (json_in_need(json_in_get(in, "name")) &&
        json_in_line(json_in_get(in, "name"), 100, &name))
        add_column(json_in_get(in, "name"), name, column, p);
}

static void read_fixed(struct json_in in, struct profile *p)
{
    static const char *const names[] = {"columns", "skip", "remark", NULL};
    struct json_in columns = json_in_get(in, "columns");
    size_t n;

    json_in_object(in, names);
    read_skip(in, p);
    if (!json_in_need(columns) ||
        !json_in_array(columns, 1, PROFILE_COLUMNS_MAX, &n))
        return;
    p->columns = arena_calloc(in.err->arena, n, sizeof(*p->columns));
    for (size_t i = 0; i < n; i++)
        read_fixed_column(json_in_item(columns, i), p);
}

static int read_side(struct json_in in)
{
    static const char *const sides[] = {
        "right", "left", "both", "unspecified", NULL};
    int side;

    return json_in_choice(in, sides, &side) ? side : -1;
}

static void read_line_pattern(struct json_in in, struct profile *p)
{
    static const char *const names[] = {"pattern", "eye", NULL};
    struct profile_sort *sort = &p->sorts[p->n_sorts];
    struct json_in pattern = json_in_get(in, "pattern");

    json_in_object(in, names);
    sort->eye = read_side(json_in_get(in, "eye"));
    p->n_sorts++;
    if (json_in_need(pattern))
        profile_pattern_read(pattern, p, &sort->pattern);
}

static void read_lines(struct json_in in, struct profile *p)
{
    static const char *const names[] = {"begin", "patterns", "others", NULL};
    static const char *const others[] = {"refuse", "pass", NULL};
    struct json_in begin = json_in_get(in, "begin");
    struct json_in patterns = json_in_get(in, "patterns");
    size_t n;
    int word;

    json_in_object(in, names);
    if (json_in_here(begin))
        p->begins = profile_pattern_read(begin, p, &p->begin);
    if (json_in_choice(json_in_get(in, "others"), others, &word))
        p->others_pass = word == 1;
    if (!json_in_need(patterns) ||
        !json_in_array(patterns, 1, PROFILE_SORTS_MAX, &n))
        return;
    for (size_t i = 0; i < n; i++)
        read_line_pattern(json_in_item(patterns, i), p);
}

static void read_sort(struct json_in in, struct profile *p)
{
    static const char *const names[] = {"name", "path", "eye", NULL};
    struct profile_sort *sort = &p->sorts[p->n_sorts];
    struct json_in name = json_in_get(in, "name");
    struct json_in path = json_in_get(in, "path");
    const char *text;

    json_in_object(in, names);
    sort->eye = read_side(json_in_get(in, "eye"));
    if (json_in_need(name) && json_in_line(name, 60, &text)) {
        for (size_t i = 1; i < p->n_sorts; i++)
            if (p->sorts[i].name && strcmp(p->sorts[i].name, text) == 0)
                err_fault(in.err, name.pointer, "stands twice: \"%s\"", text);
        sort->name = text;
    }
    p->n_sorts++;
    if (json_in_need(path) && json_in_line(path, 300, &text) &&
        good_path(p, text, path))
        sort->path = text;
}

static void read_namespaces(struct json_in in, struct profile *p)
{
    const char *name;
    json_t *uri;

    if (!json_in_here(in))
        return;
    if (!json_is_object(in.value) || json_object_size(in.value) > 20) {
        err_fault(in.err, in.pointer,
            "must be an object of at most 20 prefixes and their names");
        return;
    }
    p->prefix.items = arena_calloc(in.err->arena, 20, sizeof(char *));
    p->ns_uris.items = arena_calloc(in.err->arena, 20, sizeof(char *));
    json_object_foreach ((json_t *)in.value, name, uri) {
        const char *text;

        if (!json_in_line(json_in_get(in, name), 300, &text))
            continue;
        p->prefix.items[p->prefix.n++] = arena_strdup(in.err->arena, name);
        p->ns_uris.items[p->ns_uris.n++] = text;
    }
}

/* XML and JSON: where the records are, and which rows each has. */
static void read_tree(struct json_in in, struct profile *p)
{
    static const char *const xml[] = {"record", "rows", "namespaces", NULL};
    static const char *const json[] = {"record", "rows", NULL};
    struct json_in record = json_in_get(in, "record");
    struct json_in rows = json_in_get(in, "rows");
    const char *text;
    size_t n;

    json_in_object(in, p->form == PROFILE_XML ? xml : json);
    p->record = p->form == PROFILE_XML ? "/*" : "";
    p->sorts[0].eye = -1;
    p->n_sorts = 1;
    if (p->form == PROFILE_XML)
        read_namespaces(json_in_get(in, "namespaces"), p);
    if (json_in_line(record, 300, &text) && good_path(p, text, record))
        p->record = text;
    if (!json_in_array(rows, 0, PROFILE_SORTS_MAX - 1, &n))
        return;
    for (size_t i = 0; i < n; i++)
        read_sort(json_in_item(rows, i), p);
}

/* The member that says how the form is laid out, and no other's. */
static void read_form(struct json_in in, struct profile *p)
{
    struct json_in layout = json_in_get(in, FORMS[p->form]);

    for (int i = 0; FORMS[i]; i++) {
        struct json_in other = json_in_get(in, FORMS[i]);

        if (i != (int)p->form && json_in_here(other))
            err_fault(in.err, other.pointer,
                "can't stand in a profile of the form \"%s\"", FORMS[p->form]);
    }
    if ((p->form == PROFILE_FIXED || p->form == PROFILE_LINES) &&
        !json_in_need(layout))
        return;
    if (profile_by_rows(p)) {
        p->sorts[0].eye = -1;
        p->n_sorts = 1;
    }
    if (p->form == PROFILE_DELIMITED)
        read_delimited(layout, p);
    else if (p->form == PROFILE_FIXED)
        read_fixed(layout, p);
    else if (p->form == PROFILE_LINES)
        read_lines(layout, p);
    else
        read_tree(layout, p);
}

/* ---- what is true of all readings -------------------------------------- */

static void read_numbers(struct json_in in, struct profile *p)
{
    static const char *const names[] = {"decimal", "unsigned", NULL};
    static const char *const decimals[] = {".", ",", NULL};
    static const char *const means[] = {"refuse", "plus", "minus", NULL};
    int word;

    json_in_object(in, names);
    if (json_in_choice(json_in_get(in, "decimal"), decimals, &word))
        p->comma = word == 1;
    if (json_in_choice(json_in_get(in, "unsigned"), means, &word))
        p->unsigned_means = (enum profile_unsigned)word;
}

/* "clinic", or an offset as +01:00 or Z. */
static void read_zone(struct json_in in, struct profile *p)
{
    char whole[64];
    const char *text;
    int64_t us;

    if (!json_in_line(in, 20, &text))
        return;
    p->zone_set = true;
    p->zone_clinic = strcmp(text, "clinic") == 0;
    if (p->zone_clinic)
        return;
    snprintf(whole, sizeof(whole), "2000-01-01T00:00:00%s", text);
    if (!instant_parse(whole, &us, &p->zone_min))
        err_fault(in.err, in.pointer,
            "must be clinic, Z, or an offset, as +01:00, not \"%s\"", text);
}

static void read_group(struct json_in in, struct profile *p)
{
    struct profile_words words = {0};

    if (!json_in_here(in))
        return;
    if (!profile_by_rows(p)) {
        err_fault(in.err, in.pointer,
            "can stand in a profile of delimited or fixed rows only");
        return;
    }
    if (!profile_words_read(in, ARRAY_LEN(p->group), &words))
        return;
    for (size_t i = 0; i < words.n; i++) {
        int cell = profile_cell_of(p, 0, words.items[i], json_in_item(in, i));

        if (cell >= 0)
            p->group[p->n_group++] = cell;
    }
}

static void read_eye(struct json_in in, struct profile *p)
{
    static const char *const names[] = {
        "from", "right", "left", "both", "unspecified", NULL};
    struct json_in from = json_in_get(in, "from");
    const char *path;

    for (size_t i = 0; i < PROFILE_SORTS_MAX; i++)
        p->eye.cells[i] = -1;
    if (!json_in_here(in))
        return;
    p->eye.here = true;
    json_in_object(in, names);
    for (int side = 0; side < RECORD_SIDES; side++)
        profile_words_read(
            json_in_get(in, record_side_word((enum record_side)side)), 20,
            &p->eye.words[side]);
    if (!json_in_need(from) || !json_in_line(from, 300, &path))
        return;
    for (size_t i = 0; i < p->n_sorts; i++) {
        if (p->sorts[i].eye < 0)
            p->eye.cells[i] = profile_cell_of(p, (int)i, path, from);
        if (p->sorts[i].eye < 0 && p->eye.cells[i] < 0)
            return; /* one fault is enough */
    }
}

static void read_whole(struct json_in in, struct profile *p)
{
    static const char *const names[] = {"title", "form", "encoding",
        "delimited", "fixed", "lines", "xml", "json", "numbers", "zone",
        "not_measured", "group", "eye", "readings", NULL};
    struct json_in title = json_in_get(in, "title");
    struct json_in form = json_in_get(in, "form");
    const char *text;
    int word;

    json_in_object(in, names);
    if (json_in_need(title))
        json_in_line(title, 200, &text);
    if (json_in_choice(json_in_get(in, "encoding"), ENCODING_WORDS, &word))
        p->encoding = (enum encoding)word;
    if (!json_in_need(form) || !json_in_choice(form, FORMS, &word))
        return;
    p->form = (enum profile_form_word)word;
    if (p->form == PROFILE_JSON && p->encoding != ENCODING_UTF_8)
        err_fault(in.err, json_in_get(in, "encoding").pointer,
            "must be utf-8 for JSON (RFC 8259)");
    read_form(in, p);
    if (json_in_here(json_in_get(in, "numbers")))
        read_numbers(json_in_get(in, "numbers"), p);
    read_zone(json_in_get(in, "zone"), p);
    profile_words_read(json_in_get(in, "not_measured"), 50, &p->not_measured);
    read_group(json_in_get(in, "group"), p);
    read_eye(json_in_get(in, "eye"), p);
    profile_mappings_read(json_in_get(in, "readings"), p);
}

enum rc profile_read(struct json_in in, const struct profile **ret)
{
    struct profile *p = arena_calloc(in.err->arena, 1, sizeof(*p));
    size_t before = in.err->n_faults;

    if (!json_is_object(in.value)) {
        err_fault(in.err, in.pointer, "must be a profile (an object)");
        return in.err->rc;
    }
    read_whole(in, p);
    if (in.err->n_faults > before)
        return in.err->rc;
    *ret = p;
    return RC_OK;
}
