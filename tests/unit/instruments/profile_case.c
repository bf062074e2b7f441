#include "profile_case.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>

#include "base/arena.h"
#include "base/json_in.h"
#include "base/json_merge.h"
#include "base/text.h"
#include "instruments/encoding.h"
#include "instruments/profile.h"
#include "instruments/profile_inside.h"
#include "record/reading_json.h"

static json_t *load(const char *folder, const char *name)
{
    char path[400];
    json_error_t e;
    json_t *json;

    snprintf(path, sizeof(path), "%s/%s.json", folder, name);
    json = json_load_file(path, 0, &e);
    ck_assert_msg(json != NULL, "%s: %s", path, e.text);
    return json;
}

static const struct profile *read_profile(json_t *doc, struct arena *arena)
{
    struct err err = ERR_INIT(arena);
    const struct profile *profile = NULL;

    profile_read(json_in_root(doc, &err), &profile);
    ck_assert_msg(err.rc == RC_OK, "profile: %s %s",
        err.faults ? err.faults->pointer : "",
        err.faults ? err.faults->detail : "");
    json_decref(doc);
    return profile;
}

const struct profile *profile_case(const json_t *row, struct arena *arena)
{
    const char *name = json_string_value(json_object_get(row, "profile"));
    json_t *doc, *own, *whole, *change = json_object_get(row, "change");

    if (!name)
        return NULL;
    own = load(TEST_DATA "/profile", "own");
    doc = json_object_get(own, name) ? json_incref(json_object_get(own, name))
                                     : load(PROFILES, name);
    whole = change ? json_merge(doc, change) : json_incref(doc);
    json_decref(doc);
    json_decref(own);
    return read_profile(whole, arena);
}

bool profile_case_bytes(const json_t *row, struct text *to)
{
    const char *hex = json_string_value(json_object_get(row, "hex"));

    text_puts(to, "");
    for (; hex && hex[0] && hex[1]; hex += 2) {
        char two[3] = {hex[0], hex[1], 0};

        text_putc(to, (char)strtoul(two, NULL, 16));
    }
    return json_object_get(row, "hex") != NULL;
}

/* ---- rows as they arrive ----------------------------------------------- */

static const char ROWS[] = "# made up\r\n"
                           "number,at,eye,sph,cyl,axis\r\n"
                           "\"Q-1\",2026-03-02T09:14:05Z,R,-2.25,-0.75,172\r\n"
                           "Q-1,2026-03-02T09:14:05Z,L,+1.00,0,\r\n"
                           "\r\n"
                           "Q-2,2026-03-02T09:15:05Z,R,-2.25,-0.75,\n"
                           "\"Q\n-3\",2026-03-02T09:16:05Z,R,+0.25,0,\n"
                           "Q-4,2026-03-02T09:17:05Z,R,+0.25\n"
                           "Q-5,2026-03-02T09:18:05Z,R,+0.50,0,\n"
                           "Q-5,2026-03-02T09:18:05Z,R,+0.75,0,";

static void put_group(
    const struct profile_group *group, const struct err *err, struct text *to)
{
    text_printf(to, "%zu-%zu%s [", group->line, group->last_line,
        group->last ? " last" : "");
    text_put(to, group->bytes, group->len);
    text_puts(to, "]");
    for (size_t i = 0; i < group->readings.n; i++) {
        text_puts(to, "\n  ");
        record_reading_json(group->readings.items[i], to);
    }
    for (struct err_fault *f = err->faults; f; f = f->next)
        text_printf(to, "\n  %s %s", f->pointer, f->detail);
    text_puts(to, "\n");
}

/* All that comes of bytes in pieces of a size, as one text. */
static void read_rows(const struct profile *profile, const struct text *bytes,
    size_t piece, struct text *to)
{
    struct profile_rows *rows =
        profile_rows_new(profile, (struct instruments_zone){0});
    struct arena *arena = arena_new();
    size_t at = 0;

    for (bool ended = false;; ended = at == bytes->len) {
        struct err err = ERR_INIT(arena);
        struct profile_group group;

        if (ended)
            profile_rows_end(rows);

        while (profile_rows_next(rows, &group, &err)) {
            put_group(&group, &err, to);
            arena_reset(arena);
            err = (struct err)ERR_INIT(arena);
        }
        if (ended)
            break;
        if (piece > bytes->len - at)
            piece = bytes->len - at;
        if (piece)
            profile_rows_add(rows, bytes->data + at, piece);
        at += piece;
    }
    arena_free(arena);
    profile_rows_free(rows);
}

static const struct profile *own(const char *name, struct arena *arena)
{
    json_t *row = json_pack("{s:s}", "profile", name);
    const struct profile *profile = profile_case(row, arena);

    json_decref(row);
    return profile;
}

/* ASCII as UTF-16 with its mark. */
static void widen(const char *s, bool big, struct text *to)
{
    text_put(to, big ? "\xfe\xff" : "\xff\xfe", 2);
    for (; *s; s++) {
        char two[2] = {big ? 0 : *s, big ? *s : 0};

        text_put(to, two, 2);
    }
}

static void check_pieces(const struct text *bytes, const struct text *want)
{
    static const size_t PIECES[] = {1, 2, 3, 7, 64, 1000};
    struct arena *arena = arena_new();
    const struct profile *profile = own("rows", arena);

    for (size_t i = 0; i < ARRAY_LEN(PIECES); i++) {
        TEXT_AUTO got = {0};

        read_rows(profile, bytes, PIECES[i], &got);
        ck_assert_msg(
            got.len == want->len && memcmp(got.data, want->data, got.len) == 0,
            "in pieces of %zu:\n%s\nbut at once:\n%s", PIECES[i], got.data,
            want->data);
    }
    arena_free(arena);
}

START_TEST(rows_are_the_same_in_whatever_pieces_they_arrive)
{
    struct arena *arena = arena_new();
    TEXT_AUTO bytes = {0};
    TEXT_AUTO whole = {0};

    text_put(&bytes, ROWS, sizeof(ROWS) - 1);
    read_rows(own("rows", arena), &bytes, bytes.len, &whole);
    check_pieces(&bytes, &whole);
    /* The lines that belong together, and those that are passed over. */
    ck_assert_ptr_nonnull(strstr(whole.data,
        "3-4 [number,at,eye,sph,cyl,axis\r\n\"Q-1\",2026-03-02T09:14:05Z,R,"
        "-2.25,-0.75,172\r\nQ-1,2026-03-02T09:14:05Z,L,+1.00,0,\r\n]"));
    ck_assert_ptr_nonnull(
        strstr(whole.data, "/right/axis line 6, column \"axis\": is required"));
    ck_assert_ptr_nonnull(strstr(whole.data, "7-8 ["));
    ck_assert_ptr_nonnull(
        strstr(whole.data, "9-9 [number,at,eye,sph,cyl,axis\r\nQ-4,"));
    ck_assert_ptr_nonnull(strstr(whole.data, "line 9: has 4 fields, not 6"));
    ck_assert_ptr_nonnull(strstr(
        whole.data, "/right/sphere line 11, column \"sph\": is another value"));
    arena_free(arena);
}
END_TEST

START_TEST(rows_in_two_bytes_a_character_are_the_same)
{
    struct arena *arena = arena_new();
    TEXT_AUTO bytes = {0};
    TEXT_AUTO whole = {0};

    widen(ROWS, _i == 1, &bytes);
    read_rows(own("rows", arena), &bytes, bytes.len, &whole);
    check_pieces(&bytes, &whole);
    ck_assert_ptr_nonnull(
        memmem(whole.data, whole.len, "\"sphere\":-2.25", 14));
    ck_assert_ptr_nonnull(
        memmem(whole.data, whole.len, "line 9: has 4 fields, not 6", 27));
    arena_free(arena);
}
END_TEST

static void read_made(struct text *bytes, struct text *to)
{
    struct arena *arena = arena_new();

    read_rows(own("rows", arena), bytes, 16384, to);
    arena_free(arena);
}

START_TEST(a_line_without_end_ends_the_rows)
{
    TEXT_AUTO bytes = {0};
    TEXT_AUTO got = {0};

    text_puts(&bytes, "number,at,eye,sph,cyl,axis\n"
                      "Q-1,2026-03-02T09:14:05Z,R,-2.25,0,\n");
    for (int i = 0; i < 70000; i++)
        text_putc(&bytes, 'x');
    read_made(&bytes, &got);
    ck_assert_ptr_nonnull(strstr(got.data, "2-2 ["));
    ck_assert_ptr_nonnull(strstr(got.data, "3-3 last []\n"));
    ck_assert_ptr_nonnull(strstr(got.data, "line 3: is over 65536 bytes"));
}
END_TEST

START_TEST(a_group_has_its_limit)
{
    TEXT_AUTO bytes = {0};
    TEXT_AUTO got = {0};

    text_puts(&bytes, "number,at,eye,sph,cyl,axis\n");
    for (int i = 0; i < PROFILE_GROUP_LINES_MAX + 1; i++)
        text_puts(&bytes, "Q-1,2026-03-02T09:14:05Z,R,-2.25,0,\n");
    read_made(&bytes, &got);
    ck_assert_ptr_nonnull(strstr(got.data, "too many rows belong together"));
    ck_assert_ptr_null(strstr(got.data, "sphere"));
}
END_TEST

static const struct {
    const char *bytes, *said;
} HEADERS[] = {
    {"", "line 1: there is no header, nor any row"},
    {"number,at,eye,sph,cyl\n", "has no column \"axis\""},
    {"number,at,eye,sph,cyl,axis,sph\n", "names twice the column \"sph\""},
    {"\"number,at,eye,sph,cyl,axis\n", "a quote isn't closed"},
    {"num\xff"
     "ber\n",
        "byte 4 can't be read as utf-8"},
};

START_TEST(a_faulty_header_ends_the_rows)
{
    TEXT_AUTO bytes = {0};
    TEXT_AUTO got = {0};

    text_puts(&bytes, HEADERS[_i].bytes);
    read_made(&bytes, &got);
    ck_assert_msg(strstr(got.data, HEADERS[_i].said) != NULL, "%s", got.data);
    ck_assert_ptr_nonnull(strstr(got.data, " last []\n"));
}
END_TEST

/* ---- times ------------------------------------------------------------- */

static const struct {
    const char *format, *text, *want; /* NULL: refused */
} TIMES[] = {
    {"YYYY-MM-DD hh:mm", "2026-03-02 09:14", "2026-03-02T09:14:00"},
    {"DD.MM.YYYY hh:mm", "2.3.2026 9:14", "2026-03-02T09:14:00"},
    {"MM/DD/YYYY hh:mmAM", "3/2/2026 12:05am", "2026-03-02T00:05:00"},
    {"MM/DD/YYYY hh:mm AM", "3/2/2026 12:05 PM", "2026-03-02T12:05:00"},
    {"MM/DD/YYYY hh:mm AM", "3/2/2026 13:05 PM", NULL},
    {"YYYYMMDDhhmmss", "20260302091405", "2026-03-02T09:14:05"},
    {"YYYYMMDDhhmmss", "2026030209145", NULL}, /* which part is short? */
    {"DD.MM.YYYY hh:mm", "30.02.2026 09:14", NULL},
    {"DD.MM.YYYY hh:mm", "02.13.2026 09:14", NULL},
    {"DD.MM.YYYY hh:mm", "02.03.26 09:14", NULL}, /* of which century? */
    {"DD.MM.YYYY hh:mm", "02.03.2026 24:00", NULL},
    {"DD.MM.YYYY hh:mm", "02.03.2026 09:14 ", NULL},
    {"DD.MM.YYYY hh:mm", "02-03-2026 09:14", NULL},
};

START_TEST(a_time_is_read_by_its_template_or_refused)
{
    struct arena *arena = arena_new();
    const char *got = NULL;
    bool good =
        profile_time_read(TIMES[_i].format, TIMES[_i].text, false, &got, arena);

    ck_assert_ptr_null(profile_time_refusal(TIMES[_i].format, false));
    ck_assert_msg(good == (TIMES[_i].want != NULL), "%s by %s: %s",
        TIMES[_i].text, TIMES[_i].format, good ? got : "refused");
    if (good)
        ck_assert_str_eq(got, TIMES[_i].want);
    arena_free(arena);
}
END_TEST

START_TEST(a_template_says_all_parts_once)
{
    static const char *const wrong[] = {"YYYY-MM-DD", "YYYY-MM-DD hh",
        "YYYY-MM-DD hh:mm hh", "YY-MM-DD hh:mm", "YYYY-MM-DD hh:mm zone",
        "2026-MM-DD hh:mm", ""};

    for (size_t i = 0; i < ARRAY_LEN(wrong); i++)
        ck_assert_msg(
            profile_time_refusal(wrong[i], false) != NULL, "%s", wrong[i]);
    ck_assert_ptr_nonnull(profile_time_refusal("YYYY-MM-DD hh:mm", true));
    ck_assert_ptr_null(profile_time_refusal("DD/MM/YYYY", true));
}
END_TEST

/* ---- encodings --------------------------------------------------------- */

static const struct {
    enum encoding encoding;
    const char *bytes;
    size_t len;
    const char *want; /* NULL: the byte at bad_at can't be read */
    size_t bad_at;
} BYTES[] = {
    {ENCODING_UTF_8, "a\xc3\xa9\xe2\x82\xac\xf0\x9f\x91\x93", 10,
        "a\xc3\xa9\xe2\x82\xac\xf0\x9f\x91\x93", 0},
    {ENCODING_UTF_8, "a\xc0\xaf", 3, NULL, 1},        /* overlong */
    {ENCODING_UTF_8, "\xed\xa0\x80", 3, NULL, 0},     /* a surrogate */
    {ENCODING_UTF_8, "\xf4\x90\x80\x80", 4, NULL, 0}, /* over U+10FFFF */
    {ENCODING_UTF_8, "ab\xe2\x82", 4, NULL, 2},       /* torn */
    {ENCODING_UTF_8, "a\0b", 3, NULL, 1},
    {ENCODING_LATIN_1, "M\xfcller", 6, "M\xc3\xbcller", 0},
    {ENCODING_LATIN_1, "a\0", 2, NULL, 1},
    {ENCODING_UTF_16LE, "M\0\xfc\0", 4, "M\xc3\xbc", 0},
    {ENCODING_UTF_16BE, "\0M\0\xfc", 4, "M\xc3\xbc", 0},
    {ENCODING_UTF_16LE, "\x3d\xd8\x53\xdc", 4, "\xf0\x9f\x91\x93", 0},
    {ENCODING_UTF_16LE, "a\0\x3d\xd8", 4, NULL, 2}, /* half a pair */
    {ENCODING_UTF_16LE, "a\0b", 3, NULL, 2},        /* half a unit */
};

START_TEST(bytes_become_utf_8_or_are_refused_with_their_place)
{
    struct arena *arena = arena_new();
    struct encoding_text text = encoding_read(
        BYTES[_i].encoding, BYTES[_i].bytes, BYTES[_i].len, arena);

    if (BYTES[_i].want) {
        ck_assert_ptr_nonnull(text.s);
        ck_assert_uint_eq(text.len, strlen(BYTES[_i].want));
        ck_assert_mem_eq(text.s, BYTES[_i].want, text.len);
    } else {
        ck_assert_ptr_null(text.s);
        ck_assert_uint_eq(text.bad_at, BYTES[_i].bad_at);
    }
    arena_free(arena);
}
END_TEST

/* ---- XML that means harm ------------------------------------------------ */

static void say(struct text *to, int n, const char *s)
{
    while (n-- > 0)
        text_puts(to, s);
}

/* Each within the time that check gives a test, four seconds. */
static void make_harm(int which, struct text *to)
{
    if (which == 0) { /* entities of entities */
        text_puts(to, "<!DOCTYPE d [<!ENTITY a \"ha\">");
        for (char c = 'b'; c <= 'm'; c++) {
            text_printf(to, "<!ENTITY %c \"", c);
            for (int i = 0; i < 10; i++)
                text_printf(to, "&%c;", c - 1);
            text_puts(to, "\">");
        }
        text_puts(to, "]><d>&m;</d>");
    } else if (which == 1) { /* one long entity, many times */
        text_puts(to, "<!DOCTYPE d [<!ENTITY a \"");
        say(to, 50000, "x");
        text_puts(to, "\">]><d>");
        say(to, 50000, "&a;");
        text_puts(to, "</d>");
    } else if (which == 2) { /* a file */
        text_puts(to, "<?xml version=\"1.0\"?><!DOCTYPE d [<!ENTITY x SYSTEM "
                      "\"file:///etc/passwd\">]><d>&x;</d>");
    } else if (which == 3) { /* an address */
        text_puts(to, "<!DOCTYPE d SYSTEM \"http://192.0.2.1/d.dtd\"><d/>");
    } else if (which == 4) { /* deep */
        say(to, 100000, "<d>");
    } else if (which == 5) { /* long */
        text_puts(to, "<d>");
        say(to, 200000, "<a/>  ");
        text_puts(to, "</d>");
    } else { /* an entity that nobody made */
        text_puts(to, "<d>&nbsp;</d>");
    }
}

START_TEST(xml_that_means_harm_is_refused_in_time)
{
    static const char *const said[] = {"document type", "document type",
        "document type", "document type", "not XML", "1048576 bytes",
        "not XML"};
    struct arena *arena = arena_new();
    struct err err = ERR_INIT(arena);
    struct instruments_readings readings = {0};
    TEXT_AUTO t = {0};
    struct instruments_input in;

    make_harm(_i, &t);
    in = (struct instruments_input){.bytes = t.data, .len = t.len};
    ck_assert_int_ne(
        profile_decode(own("xml", arena), &in, &readings, &err), RC_OK);
    ck_assert_msg(err.faults && strstr(err.faults->detail, said[_i]), "%s",
        err.faults ? err.faults->detail : "no fault");
    arena_free(arena);
}
END_TEST

START_TEST(a_path_that_takes_for_ever_is_stopped)
{
    struct arena *arena = arena_new();
    struct err err = ERR_INIT(arena);
    struct instruments_readings readings = {0};
    TEXT_AUTO t = {0};
    struct instruments_input in;

    text_puts(&t, "<d>");
    say(&t, 2000, "<a><b><c/></b></a>");
    text_puts(&t, "</d>");
    in = (struct instruments_input){.bytes = t.data, .len = t.len};
    ck_assert_int_ne(
        profile_decode(own("slow", arena), &in, &readings, &err), RC_OK);
    ck_assert_ptr_nonnull(strstr(err.faults->detail, "too many steps"));
    arena_free(arena);
}
END_TEST

/* What own's profile makes of a payload. */
static enum rc decode_own(const char *name, const struct text *payload,
    struct instruments_readings *ret, struct err *err)
{
    struct instruments_input in = {.bytes = payload->data, .len = payload->len};

    return profile_decode(own(name, err->arena), &in, ret, err);
}

/* A path may find or read the whole document from each of its places. */
START_TEST(what_paths_find_counts_as_their_steps)
{
    static const char *const name[] = {"whole", "strings"};
    struct arena *arena = arena_new();
    struct err err = ERR_INIT(arena);
    struct instruments_readings readings = {0};
    TEXT_AUTO t = {0};

    text_puts(&t, "<d>");
    say(&t, 1000, "<x>every one of these words, a thousand times</x>");
    text_puts(&t, "</d>");
    ck_assert_int_ne(decode_own(name[_i], &t, &readings, &err), RC_OK);
    ck_assert_msg(strstr(err.faults->detail, "too many steps") != NULL, "%s",
        err.faults->detail);
    arena_free(arena);
}
END_TEST

/* Of 1,200 nodes twice, 150 times: 1.5 million steps as libxml2 counts. */
START_TEST(sets_that_are_joined_cost_more_than_their_sizes)
{
    struct arena *arena = arena_new();
    struct err err = ERR_INIT(arena);
    struct instruments_readings readings = {0};
    TEXT_AUTO t = {0};

    text_puts(&t, "<d>");
    say(&t, 1200, "<x s='1' t='2'/>");
    text_puts(&t, "</d>");
    ck_assert_int_ne(decode_own("sets", &t, &readings, &err), RC_OK);
    ck_assert_msg(strstr(err.faults->detail, "too many steps") != NULL, "%s",
        err.faults->detail);
    arena_free(arena);
}
END_TEST

START_TEST(a_value_has_its_longest)
{
    struct arena *arena = arena_new();
    struct err err = ERR_INIT(arena);
    struct instruments_readings readings = {0};
    TEXT_AUTO t = {0};

    text_puts(&t, "at 2026-03-02T09:14:05Z\nL -1.00 ");
    say(&t, PROFILE_CELL_MAX + 1, "9");
    text_puts(&t, " x");
    ck_assert_int_ne(decode_own("lines", &t, &readings, &err), RC_OK);
    ck_assert_str_eq(
        err.faults->detail, "line 2, \"cyl\": is too long to be a value");
    arena_free(arena);
}
END_TEST

/* 30 patterns of 8 captures: each line has 240 places, nearly all empty. */
static json_t *many_places(void)
{
    json_t *patterns = json_array();

    json_array_append_new(patterns, json_pack("{s:s}", "pattern", "at {at}"));
    json_array_append_new(
        patterns, json_pack("{s:s, s:s}", "pattern", "R{sph}", "eye", "right"));
    for (int i = 0; i < 29; i++) {
        TEXT_AUTO t = {0};

        text_printf(&t, "%c%c", 'a' + i % 26, i < 26 ? 'a' : 'b');
        for (int k = 0; k < 8; k++)
            text_printf(&t, "{c%d:1}", i * 8 + k);
        json_array_append_new(patterns, json_pack("{s:s}", "pattern", t.data));
    }
    return json_pack("{s:s, s:s, s:{s:s, s:o}, s:[{s:s, s:[{s:s, s:s}, "
                     "{s:s, s:s}]}]}",
        "title", "many places", "form", "lines", "lines", "begin", "at {at}",
        "patterns", patterns, "readings", "kind", "autorefraction", "fields",
        "to", "/taken_at", "from", "at", "to", "/{eye}/sphere", "from", "sph");
}

static long most_memory_kb(void)
{
    struct rusage usage;

    ck_assert_int_eq(getrusage(RUSAGE_SELF, &usage), 0);
    return usage.ru_maxrss;
}

/* 90,000 lines of 240 places of 32 bytes are 690 MB; those of one record 11. */
START_TEST(memory_is_that_of_a_record)
{
    struct arena *arena = arena_new();
    struct err err = ERR_INIT(arena);
    struct instruments_readings readings = {0};
    const struct profile *profile = read_profile(many_places(), arena);
    TEXT_AUTO t = {0};
    struct instruments_input in;
    long before;

    for (int i = 0; i < 60; i++) {
        text_printf(&t, "at 2026-03-02T09:14:%02dZ\n", i);
        say(&t, 1500, "R-1\n");
    }
    in = (struct instruments_input){.bytes = t.data, .len = t.len};
    before = most_memory_kb();
    ck_assert_int_eq(profile_decode(profile, &in, &readings, &err), RC_OK);
    ck_assert_uint_eq(readings.n, 60);
    /* The sanitizers keep 256 MB of what was freed. */
    ck_assert_int_lt(most_memory_kb() - before, 450 * 1024);
    arena_free(arena);
}
END_TEST

void profile_tests(TCase *tc)
{
    tcase_add_test(tc, rows_are_the_same_in_whatever_pieces_they_arrive);
    tcase_add_loop_test(tc, rows_in_two_bytes_a_character_are_the_same, 0, 2);
    tcase_add_test(tc, a_line_without_end_ends_the_rows);
    tcase_add_test(tc, a_group_has_its_limit);
    tcase_add_loop_test(
        tc, a_faulty_header_ends_the_rows, 0, ARRAY_LEN(HEADERS));
    tcase_add_loop_test(
        tc, a_time_is_read_by_its_template_or_refused, 0, ARRAY_LEN(TIMES));
    tcase_add_test(tc, a_template_says_all_parts_once);
    tcase_add_loop_test(tc, bytes_become_utf_8_or_are_refused_with_their_place,
        0, ARRAY_LEN(BYTES));
    tcase_add_loop_test(tc, xml_that_means_harm_is_refused_in_time, 0, 7);
    tcase_add_test(tc, a_path_that_takes_for_ever_is_stopped);
    tcase_add_loop_test(tc, what_paths_find_counts_as_their_steps, 0, 2);
    tcase_add_test(tc, sets_that_are_joined_cost_more_than_their_sizes);
    tcase_add_test(tc, a_value_has_its_longest);
    tcase_add_test(tc, memory_is_that_of_a_record);
}
