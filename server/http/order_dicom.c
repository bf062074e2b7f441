/* http/order_dicom.c - an order's Rx as a DICOM Spectacle Prescription Report
 * (PS3.16, TID 2020 and 2021) in DICOM JSON. */
#include <string.h>

#include "base/hash.h"
#include "base/num.h"
#include "http/dicom_out.h"
#include "http/handlers.h"
#include "http/order_row.h"

/*
 * The templates have no place for a vertex distance, monocular pupil
 * distances, prism for near, fitting heights, and lenses without a power:
 * these are told in the comment.
 */

#define REPORT "1.2.840.10008.5.1.4.1.1.78.6"
#define LO_MAX 64 /* characters of an LO, and of a whole PN (PS3.5, 6.2) */

/* ---- texts ------------------------------------------------------------- */

/* What DICOM would read as a sign of its own becomes a blank. */
static const char *plain(struct http_req *rq, const char *text)
{
    char *copy = text ? arena_strdup(rq->arena, text) : NULL;

    for (char *c = copy; c && *c; c++)
        if (strchr("\\^=", *c) || (unsigned char)*c < 0x20)
            *c = ' ';
    return copy;
}

/* Cut, if it has to be, between characters; *ret_cut when it was. */
static const char *fit(struct http_req *rq, const char *text, bool *ret_cut)
{
    char *copy = text ? arena_strdup(rq->arena, text) : NULL;
    size_t chars = 0;

    for (char *c = copy; c && *c; c++) {
        if (((unsigned char)*c & 0xC0) == 0x80 || chars++ < LO_MAX)
            continue;
        *ret_cut = true;
        *c = '\0';
        break;
    }
    return copy;
}

static const char *name_of(
    struct http_req *rq, const struct order_row *x, bool *ret_cut)
{
    const char *family = plain(rq, x->family), *given = plain(rq, x->given);

    return fit(rq,
        arena_printf(rq->arena, "%s%s%s", family ? family : "",
            given ? "^" : "", given ? given : ""),
        ret_cut);
}

/* 2.25. and the number that id is (PS3.5, annex B.2), in decimal. */
static const char *uid_of(struct http_req *rq, struct uuid id)
{
    char digits[40];
    size_t n = sizeof(digits);
    unsigned any;

    digits[--n] = '\0';
    do {
        unsigned rest = 0;

        any = 0;
        for (size_t i = 0; i < 16; i++) {
            unsigned part = rest << 8 | id.bytes[i];

            id.bytes[i] = (uint8_t)(part / 10);
            rest = part % 10;
            any |= id.bytes[i];
        }
        digits[--n] = (char)('0' + rest);
    } while (any);
    return arena_printf(rq->arena, "2.25.%s", &digits[n]);
}

/* An id that bytes alone make: UUID version 8 (RFC 9562) of their SHA-256, so
 * that another content is another instance. */
static const char *uid_of_bytes(
    struct http_req *rq, const char *bytes, size_t len)
{
    uint8_t hash[HASH_SIZE];
    struct uuid id;

    hash_bytes(bytes, len, hash);
    memcpy(id.bytes, hash, sizeof(id.bytes));
    id.bytes[6] = (uint8_t)((id.bytes[6] & 0x0F) | 0x80);
    id.bytes[8] = (uint8_t)((id.bytes[8] & 0x3F) | 0x80);
    return uid_of(rq, id);
}

/* Of "2026-03-02T09:14:05+01:00" the digits of a DA, TM, or offset. */
static const char *digits_of(struct http_req *rq, const char *from, size_t len)
{
    char *to = arena_alloc(rq->arena, len + 1);
    size_t n = 0;

    for (size_t i = 0; i < len; i++)
        if (!strchr("-:", from[i]))
            to[n++] = from[i];
    to[n] = '\0';
    return to;
}

struct when {
    const char *date, *time, *offset;
};

static struct when when_of(struct http_req *rq, const char *instant)
{
    const char *zone = instant + strcspn(instant, "T");
    struct when w = {.date = digits_of(rq, instant, 10),
        .time = digits_of(rq, instant + 11, 8),
        .offset = "+0000"};

    zone += strcspn(zone, "Z+-");
    if (*zone == '+' || *zone == '-')
        w.offset =
            arena_printf(rq->arena, "%c%.2s%.2s", *zone, zone + 1, zone + 4);
    return w;
}

/* Of the Rx's own patient; only a whole date has a DA.  A lab knows a patient
 * by number and name, and needs no more. */
static const char *born_of(struct http_req *rq, const struct order_row *x)
{
    json_auto_t *rx = json_loads(x->rx_text, 0, NULL);
    const char *born = json_string_value(
        json_object_get(json_object_get(rx, "patient"), "born"));

    if (rq->who.role == HTTP_LAB)
        return NULL;
    return born && strlen(born) == 10 ? digits_of(rq, born, 10) : NULL;
}

/* ---- content items ----------------------------------------------------- */

struct concept {
    const char *scheme, *value, *meaning;
};

static const struct concept TITLE = {
    "DCM", "111671", "Spectacle Prescription Report"};
static const struct concept EYES[] = {
    {"DCM", "111688", "Right Eye Rx"}, {"DCM", "111689", "Left Eye Rx"}};
static const struct concept SPHERE = {"SCT", "251795007", "Sphere"};
static const struct concept CYLINDER = {"SCT", "251797004", "Cylinder Power"};
static const struct concept AXIS = {"SCT", "251799001", "Axis"};
static const struct concept ADD_NEAR = {"DCM", "111672", "Add Near"};
static const struct concept ADD_MIDDLE = {"DCM", "111673", "Add Intermediate"};
static const struct concept PRISM[] = {
    {"DCM", "111675", "Horizontal Prism Power"},
    {"DCM", "111677", "Vertical Prism Power"}};
static const struct concept BASE[] = {
    {"DCM", "111676", "Horizontal Prism Base"},
    {"DCM", "111678", "Vertical Prism Base"}};
/* CID 4214 and 4215: for a positive figure, for a negative one. */
static const struct concept BASES[][2] = {
    {{"SCT", "255460003", "Inward"}, {"SCT", "255543005", "Outward"}},
    {{"SCT", "255532002", "Up"}, {"SCT", "255518004", "Down"}}};
static const struct concept FAR_PD = {
    "DCM", "111679", "Distance Pupillary Distance"};
static const struct concept NEAR_PD = {
    "DCM", "111680", "Near Pupillary Distance"};
static const struct concept COMMENT = {"DCM", "121106", "Comment"};

static const struct concept DIOPTRE = {"UCUM", "[diop]", "diopter"};
static const struct concept DEGREE = {"UCUM", "deg", "degree"};
static const struct concept PRISM_DIOPTRE = {
    "UCUM", "[p'diop]", "prism diopter"};
static const struct concept MILLIMETRE = {"UCUM", "mm", "millimeter"};

static void put_code(
    struct json_out *o, const char *tag, const struct concept *c)
{
    dicom_out_code(o, tag, c->scheme, c->value, c->meaning);
}

/* The beginning of an item in a container; the caller closes it. */
static void open_item(
    struct json_out *o, const char *value_type, const struct concept *about)
{
    json_out_object(o, NULL);
    dicom_out_text(o, "0040A010", "CS", "CONTAINS");
    dicom_out_text(o, "0040A040", "CS", value_type);
    put_code(o, "0040A043", about);
}

/* value * 10^-places */
static void put_number(struct json_out *o, const struct concept *about,
    int32_t value, int places, const struct concept *unit)
{
    open_item(o, "NUM", about);
    dicom_out_sequence(o, "0040A300");
    json_out_object(o, NULL);
    put_code(o, "004008EA", unit);
    json_out_object(o, "0040A30A");
    json_out_text(o, "vr", "DS");
    json_out_array(o, "Value");
    json_out_scaled(o, NULL, value, places);
    json_out_array_end(o);
    json_out_object_end(o);
    json_out_object_end(o);
    dicom_out_sequence_end(o);
    json_out_object_end(o);
}

static void put_prism(struct json_out *o, int direction, int32_t value_cd)
{
    if (value_cd == 0)
        return;
    put_number(o, &PRISM[direction], value_cd < 0 ? -value_cd : value_cd, 2,
        &PRISM_DIOPTRE);
    open_item(o, "CODE", &BASE[direction]);
    put_code(o, "0040A168", &BASES[direction][value_cd < 0]);
    json_out_object_end(o);
}

static void put_eye(
    struct json_out *o, int side, const struct record_eye_figures *f)
{
    open_item(o, "CONTAINER", &EYES[side]);
    dicom_out_text(o, "0040A050", "CS", "SEPARATE");
    dicom_out_sequence(o, "0040A730");
    put_number(o, &SPHERE, f->sph_cd, 2, &DIOPTRE);
    if (f->cyl_cd != 0) {
        put_number(o, &CYLINDER, f->cyl_cd, 2, &DIOPTRE);
        put_number(o, &AXIS, f->axis_deg, 0, &DEGREE);
    }
    if (f->add_cd != NUM_ABSENT)
        put_number(o, &ADD_NEAR, f->add_cd, 2, &DIOPTRE);
    if (f->intermediate_add_cd != NUM_ABSENT)
        put_number(o, &ADD_MIDDLE, f->intermediate_add_cd, 2, &DIOPTRE);
    put_prism(o, 0, f->prism_in_cd);
    put_prism(o, 1, f->prism_up_cd);
    dicom_out_sequence_end(o);
    json_out_object_end(o);
}

/* ---- the comment ------------------------------------------------------- */

static void note(struct text *t, const char *what, int32_t value_mm100)
{
    char text[NUM_TEXT_MAX];

    if (value_mm100 != NUM_ABSENT)
        text_printf(t, "%s%s %s mm", t->len ? "; " : "", what,
            num_text(value_mm100, 2, text));
}

static void note_prism(struct text *t, const char *eye, int32_t value_cd,
    const char *above, const char *below)
{
    char text[NUM_TEXT_MAX];

    if (value_cd != 0)
        text_printf(t, "%s%s eye: prism for near %s base %s",
            t->len ? "; " : "", eye,
            num_text(value_cd < 0 ? -value_cd : value_cd, 2, text),
            value_cd < 0 ? below : above);
}

static void note_eye(
    struct text *t, const char *eye, const struct record_eye_figures *f)
{
    char text[NUM_TEXT_MAX];

    if (f->lens != RECORD_LENS_POWER)
        text_printf(t, "%s%s eye: %s, no power is ordered", t->len ? "; " : "",
            eye, RECORD_LENS_WORDS[f->lens]);
    if (f->pd_far_mm100 != NUM_ABSENT)
        text_printf(t, "%s%s eye: PD far %s mm", t->len ? "; " : "", eye,
            num_text(f->pd_far_mm100, 2, text));
    if (f->pd_near_mm100 != NUM_ABSENT)
        text_printf(t, "%s%s eye: PD near %s mm", t->len ? "; " : "", eye,
            num_text(f->pd_near_mm100, 2, text));
    note_prism(t, eye, f->near_prism_in_cd, "in", "out");
    note_prism(t, eye, f->near_prism_up_cd, "up", "down");
    if (f->fitting_height_mm100 != NUM_ABSENT)
        text_printf(t, "%s%s eye: fitting height %s mm", t->len ? "; " : "",
            eye, num_text(f->fitting_height_mm100, 2, text));
}

static void put_comment(struct json_out *o, const struct order_row *x,
    const struct record_figures *all, bool cut)
{
    TEXT_AUTO t = {0};

    if (x->order.only != RECORD_BOTH)
        text_printf(
            &t, "only the %s lens is ordered", record_side_word(x->order.only));
    note(&t, "powers refer to a vertex of", all->vertex_mm100);
    for (int side = 0; side < 2; side++)
        if (record_order_makes(&x->order, &x->rx, side) ||
            all->eye[side].lens != RECORD_LENS_POWER)
            note_eye(
                &t, record_side_word((enum record_side)side), &all->eye[side]);
    if (cut)
        text_printf(&t,
            "%sa name is longer than DICOM has room for and was "
            "cut",
            t.len ? "; " : "");
    if (t.len == 0)
        return;
    open_item(o, "TEXT", &COMMENT);
    dicom_out_text(o, "0040A160", "UT", t.data);
    json_out_object_end(o);
}

/* Of both eyes, or of the two added; absent when one is unknown. */
static int32_t both(int32_t binocular, int32_t right, int32_t left)
{
    if (binocular != NUM_ABSENT || right == NUM_ABSENT || left == NUM_ABSENT)
        return binocular;
    return right + left;
}

static void put_content(struct json_out *o, const struct order_row *x, bool cut)
{
    struct record_figures all =
        record_order_figures(&x->order, &x->rx, OPTICS_MINUS_CYL);
    const struct record_eye_figures *r = &all.eye[0], *l = &all.eye[1];
    int32_t far = both(all.pd_far_mm100, r->pd_far_mm100, l->pd_far_mm100);
    int32_t near = both(all.pd_near_mm100, r->pd_near_mm100, l->pd_near_mm100);

    dicom_out_sequence(o, "0040A730");
    for (int side = 0; side < 2; side++)
        if (record_order_makes_power(&x->order, &x->rx, side))
            put_eye(o, side, &all.eye[side]);
    if (far != NUM_ABSENT)
        put_number(o, &FAR_PD, far, 2, &MILLIMETRE);
    if (near != NUM_ABSENT)
        put_number(o, &NEAR_PD, near, 2, &MILLIMETRE);
    put_comment(o, x, &all, cut);
    dicom_out_sequence_end(o);
}

/* ---- the document ------------------------------------------------------ */

static void put_observer(struct http_req *rq, struct json_out *o,
    const struct order_row *x, const struct when *w)
{
    bool cut = false;

    dicom_out_sequence(o, "0040A073");
    json_out_object(o, NULL);
    dicom_out_text(o, "0040A027", "LO", fit(rq, plain(rq, x->clinic), &cut));
    dicom_out_text(o, "0040A030", "DT",
        arena_printf(rq->arena, "%s%s%s", w->date, w->time, w->offset));
    dicom_out_name(o, "0040A075", fit(rq, plain(rq, x->signer), &cut));
    dicom_out_text(o, "0040A088", "SQ", NULL);
    json_out_object_end(o);
    dicom_out_sequence_end(o);
}

static void put_document(struct http_req *rq, struct json_out *o,
    const struct order_row *x, const struct when *w, bool cut)
{
    dicom_out_text(o, "0040A040", "CS", "CONTAINER");
    put_code(o, "0040A043", &TITLE);
    dicom_out_text(o, "0040A050", "CS", "SEPARATE");
    put_observer(rq, o, x, w);
    dicom_out_text(o, "0040A372", "SQ", NULL);
    dicom_out_text(o, "0040A491", "CS", "COMPLETE");
    dicom_out_text(o, "0040A493", "CS", "VERIFIED");
    dicom_out_text(o, "0040A496", "CS", "FINAL");
    dicom_out_sequence(o, "0040A504");
    json_out_object(o, NULL);
    dicom_out_text(o, "00080105", "CS", "DCMR");
    dicom_out_text(o, "0040DB00", "CS", "2020");
    json_out_object_end(o);
    dicom_out_sequence_end(o);
    put_content(o, x, cut);
}

/* From the study on; everything before is the same in all reports but for the
 * instance's own name. */
static void put_rest(struct http_req *rq, struct json_out *o,
    const struct order_row *x, const struct when *w)
{
    bool cut = false;
    const char *name = name_of(rq, x, &cut);
    const char *number = fit(rq, plain(rq, x->record_number), &cut);
    const char *clinic = fit(rq, plain(rq, x->clinic), &cut);

    dicom_out_text(o, "00080020", "DA", w->date);
    dicom_out_text(o, "00080021", "DA", w->date);
    dicom_out_text(o, "00080023", "DA", w->date);
    dicom_out_text(o, "00080030", "TM", w->time);
    dicom_out_text(o, "00080031", "TM", w->time);
    dicom_out_text(o, "00080033", "TM", w->time);
    dicom_out_text(o, "00080050", "SH", NULL);
    dicom_out_text(o, "00080060", "CS", "SR");
    dicom_out_text(o, "00080070", "LO", "Lensclerk");
    dicom_out_text(o, "00080080", "LO", clinic);
    dicom_out_name(o, "00080090", NULL);
    dicom_out_text(o, "00080201", "SH", w->offset);
    dicom_out_text(o, "0008103E", "LO", "Spectacle prescription");
    dicom_out_text(o, "00081090", "LO", "lensclerkd");
    dicom_out_text(o, "00081111", "SQ", NULL);
    dicom_out_name(o, "00100010", name);
    dicom_out_text(o, "00100020", "LO", number);
    dicom_out_text(o, "00100030", "DA", born_of(rq, x));
    dicom_out_text(o, "00100040", "CS", NULL);
    dicom_out_text(o, "00181000", "LO", x->clinic_id);
    dicom_out_text(o, "00181020", "LO", LENS_VERSION);
    dicom_out_text(o, "0020000D", "UI", uid_of(rq, uuid_from_text(x->exam_id)));
    dicom_out_text(o, "0020000E", "UI", uid_of(rq, uuid_from_text(x->id)));
    dicom_out_text(o, "00200010", "SH", NULL);
    dicom_out_int(o, "00200011", "IS", 1);
    dicom_out_int(o, "00200013", "IS", x->edition);
    put_document(rq, o, x, w, cut);
}

static enum rc check(const struct order_row *x, struct err *err)
{
    if (strcmp(x->exam_status, "entered-in-error") == 0)
        return err_set(err, RC_CONFLICT, "/exam",
            "the exam was marked as entered in error, which a report has no "
            "place for");
    if (!record_order_makes_power(&x->order, &x->rx, RECORD_RIGHT) &&
        !record_order_makes_power(&x->order, &x->rx, RECORD_LEFT))
        return err_set(err, RC_CONFLICT, NULL,
            "no lens of it has a power, and a report has no place for others");
    return RC_OK;
}

static void write_report(
    struct http_req *rq, const struct order_row *x, struct text *to)
{
    struct when w = when_of(rq, x->signed_at);
    TEXT_AUTO rest = {0};
    struct json_out inside = JSON_OUT(&rest), o = JSON_OUT(to);

    put_rest(rq, &inside, x, &w);
    json_out_array(&o, NULL);
    json_out_object(&o, NULL);
    dicom_out_text(&o, "00080005", "CS", "ISO_IR 192");
    dicom_out_text(&o, "00080016", "UI", REPORT);
    dicom_out_text(&o, "00080018", "UI", uid_of_bytes(rq, rest.data, rest.len));
    text_putc(to, ',');
    text_put(to, rest.data, rest.len);
    json_out_object_end(&o);
    json_out_array_end(&o);
}

static enum rc order_found(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    TEXT_AUTO t = {0};
    struct order_row x;

    TRY(order_load(rq, reply, &x, err));
    TRY(order_may_read(rq, &x, err));
    TRY(check(&x, err));
    write_report(rq, &x, &t);
    http_etag_text(rq, order_tag(rq, x.version, t.data, t.len), NULL);
    http_viewed(rq, "order", x.id, x.patient_id);
    return http_reply_bytes(rq, 200, "application/dicom+json", &t);
}

/* GET /v1/orders/{id}/dicom */
enum rc http_order_dicom(struct http_req *rq, struct err *err)
{
    struct db_call *calls[ORDER_CALLS];

    (void)err;
    order_calls(rq, (struct order_look){0}, calls);
    return http_read(rq, calls, ORDER_CALLS, order_found);
}
