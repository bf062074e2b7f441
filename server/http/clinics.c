/* http/clinics.c - the sites of a network. */
#include "base/num.h"
#include "http/handlers.h"
#include "http/shape.h"

#define NAME_MAX_LEN 120
#define ADDRESS_MAX 400
#define TELEPHONE_MAX 40

static const char *const FIXED[] = {"id", NULL};
static const char *const FORMS[] = {"minus", "plus", NULL};

struct clinic {
    const char *id, *name, *address, *telephone, *time_zone;
    int32_t step_sphere_cd, step_axis_deg, step_prism_cd;
    const char *cylinder_form;
    bool closed;
};

static void take_row(struct clinic *c, const struct db_rows *rows, size_t row)
{
    *c = (struct clinic){
        .id = db_rows_text(rows, row, 0),
        .name = db_rows_text(rows, row, 2),
        .address = db_rows_text(rows, row, 3),
        .telephone = db_rows_text(rows, row, 4),
        .time_zone = db_rows_text(rows, row, 5),
        .step_sphere_cd = db_rows_cd(rows, row, 6),
        .step_axis_deg = db_rows_cd(rows, row, 7),
        .step_prism_cd = db_rows_cd(rows, row, 8),
        .cylinder_form = db_rows_text(rows, row, 9),
        .closed = db_rows_bool(rows, row, 10),
    };
}

static void write_clinic(struct json_out *o, const struct clinic *c)
{
    json_out_text(o, "id", c->id);
    json_out_text(o, "name", c->name);
    shape_text(o, "address", c->address);
    shape_text(o, "telephone", c->telephone);
    json_out_text(o, "time_zone", c->time_zone);
    json_out_object(o, "steps");
    json_out_cd(o, "sphere", c->step_sphere_cd);
    json_out_int(o, "axis", c->step_axis_deg);
    json_out_cd(o, "prism", c->step_prism_cd);
    json_out_object_end(o);
    json_out_text(o, "cylinder_form", c->cylinder_form);
    json_out_bool(o, "closed", c->closed);
}

static void write_item(struct http_req *rq, struct json_out *o,
    const struct db_rows *rows, size_t row)
{
    struct clinic c;

    (void)rq;
    take_row(&c, rows, row);
    write_clinic(o, &c);
}

static const char *clinic_json(struct http_req *rq, const struct clinic *c)
{
    TEXT_AUTO t = {0};
    struct json_out o = JSON_OUT(&t);

    json_out_object(&o, NULL);
    write_clinic(&o, c);
    json_out_object_end(&o);
    return arena_strdup(rq->arena, t.data);
}

/* ---- reading one ------------------------------------------------------ */

/* A number that must be one of three or four; places decimals. */
static void read_step(
    struct json_in in, int places, const int32_t steps[], int32_t *value)
{
    static const double range[] = {0, 100};
    char a[NUM_TEXT_MAX];
    TEXT_AUTO list = {0};

    if (!json_in_scaled(in, places, range, value))
        return;
    for (int i = 0; steps[i]; i++) {
        if (*value == steps[i])
            return;
        text_printf(
            &list, "%s%s", i ? ", " : "", num_text(steps[i], places, a));
    }
    err_fault(in.err, in.pointer, "must be one of %s", list.data);
}

static void read_steps(struct json_in in, struct clinic *c)
{
    static const char *const names[] = {"sphere", "axis", "prism", NULL};
    static const int32_t spheres[] = {12, 25, 50, 0};
    static const int32_t axes[] = {1, 2, 5, 10, 0};
    static const int32_t prisms[] = {10, 20, 50, 0};

    if (!json_in_object(in, names) && !json_is_object(in.value))
        return;
    read_step(json_in_get(in, "sphere"), 2, spheres, &c->step_sphere_cd);
    read_step(json_in_get(in, "axis"), 0, axes, &c->step_axis_deg);
    read_step(json_in_get(in, "prism"), 2, prisms, &c->step_prism_cd);
}

static enum rc read_clinic(
    struct json_in in, struct arena *arena, struct clinic *c)
{
    static const char *const names[] = {"name", "address", "telephone",
        "time_zone", "steps", "cylinder_form", "closed", NULL};
    struct json_in name = json_in_get(in, "name");
    struct json_in zone = json_in_get(in, "time_zone");
    const char *address = "";
    int form;

    *c = (struct clinic){.address = "",
        .telephone = "",
        .step_sphere_cd = 25,
        .step_axis_deg = 5,
        .step_prism_cd = 50,
        .cylinder_form = "minus"};
    json_in_object(in, names);
    if (json_in_need(name))
        json_in_line(name, NAME_MAX_LEN, &c->name);
    json_in_text(json_in_get(in, "address"), ADDRESS_MAX, &address);
    c->address = arena_strdup(arena, address);
    json_in_line(json_in_get(in, "telephone"), TELEPHONE_MAX, &c->telephone);
    if (json_in_need(zone))
        json_in_line(zone, 64, &c->time_zone);
    read_steps(json_in_get(in, "steps"), c);
    if (json_in_choice(json_in_get(in, "cylinder_form"), FORMS, &form))
        c->cylinder_form = FORMS[form];
    json_in_bool(json_in_get(in, "closed"), &c->closed);
    return in.err->rc;
}

/* ---- writing ---------------------------------------------------------- */

struct writing {
    struct clinic clinic;
    struct shape_write write;
    const char *before;
};

static enum rc written(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct writing *w = rq->state;

    return shape_written(rq, reply, &w->write, err);
}

static enum rc zone_known(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    struct writing *w = rq->state;
    const struct clinic *c = &w->clinic;
    struct db_call *call = db_call_new(
        rq->arena, w->write.version ? &DB_CLINIC_CHANGE : &DB_CLINIC_ADD);

    if (db_rows_count(reply->rows[0]) == 0) {
        err_fault(err, "/time_zone",
            "must be a name of the time zone database, as Europe/Vienna");
        return err->rc;
    }
    db_put_text(call, c->id);
    if (w->write.version)
        db_put_int(call, w->write.version);
    db_put_text(call, c->name);
    db_put_text(call, c->address);
    db_put_text(call, c->telephone);
    db_put_text(call, c->time_zone);
    db_put_cd(call, c->step_sphere_cd);
    db_put_cd(call, c->step_axis_deg);
    db_put_cd(call, c->step_prism_cd);
    db_put_text(call, c->cylinder_form);
    db_put_bool(call, c->closed);
    db_put_text(call, w->write.version ? w->before : w->write.answer);
    return http_write(rq, &call, 1, written);
}

/* The names are many files on the server's disk: not on the quick lane. */
static enum rc ask_zone(struct http_req *rq, struct writing *w)
{
    struct db_call *call = db_call_new(rq->arena, &DB_TIME_ZONE_KNOWN);

    w->write.path = "/v1/clinics";
    w->write.id = w->clinic.id;
    w->write.answer = clinic_json(rq, &w->clinic);
    rq->state = w;
    db_put_text(call, w->clinic.time_zone);
    return http_read_slow(rq, &call, 1, zone_known);
}

/* POST /v1/clinics */
enum rc http_clinic_post(struct http_req *rq, struct err *err)
{
    struct writing *w = arena_calloc(rq->arena, 1, sizeof(*w));

    TRY(read_clinic(json_in_root(rq->json, err), rq->arena, &w->clinic));
    w->clinic.id = http_new_id(rq);
    return ask_zone(rq, w);
}

static enum rc change(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const struct db_rows *rows = reply->rows[0];
    struct writing *w = arena_calloc(rq->arena, 1, sizeof(*w));
    json_auto_t *doc = NULL;
    const char *now;

    if (db_rows_count(rows) == 0)
        return shape_missing(err, "clinic", rq->ids[0]);
    w->write.version = db_rows_int(rows, 0, 1);
    TRY(http_match(rq, w->write.version, err));
    now = shape_json(rq, rows, 0, write_item);
    doc = shape_merge(rq, now, FIXED);
    TRY(read_clinic(json_in_root(doc, err), rq->arena, &w->clinic));
    w->clinic.id = rq->ids[0];
    w->before = shape_before(rq, now, doc, FIXED);
    return ask_zone(rq, w);
}

static enum rc ask_one(struct http_req *rq, http_next *next)
{
    struct db_call *call = db_call_new(rq->arena, &DB_CLINIC_GET);

    db_put_text(call, rq->ids[0]);
    return http_read(rq, &call, 1, next);
}

/* PATCH /v1/clinics/{id} */
enum rc http_clinic_patch(struct http_req *rq, struct err *err)
{
    (void)err;
    return ask_one(rq, change);
}

/* ---- reading ---------------------------------------------------------- */

static enum rc got(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    return shape_one(rq, reply->rows[0], "clinic", write_item, err);
}

/* GET /v1/clinics/{id} */
enum rc http_clinic_get(struct http_req *rq, struct err *err)
{
    (void)err;
    return ask_one(rq, got);
}

static enum rc listed(
    struct http_req *rq, const struct db_reply *reply, struct err *err)
{
    const int *limit = rq->state;

    (void)err;
    return shape_list(rq, reply->rows[0], *limit, false, write_item);
}

/* GET /v1/clinics */
enum rc http_clinic_list(struct http_req *rq, struct err *err)
{
    int *limit = arena_alloc(rq->arena, sizeof(*limit));
    const char *below;
    struct db_call *call = db_call_new(rq->arena, &DB_CLINIC_LIST);

    TRY(shape_page(rq, limit, &below, err));
    rq->state = limit;
    db_put_text(call, below);
    db_put_int(call, *limit + 1);
    return http_read(rq, &call, 1, listed);
}
