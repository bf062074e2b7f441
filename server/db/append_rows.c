/* db/append_rows.c - requests' rows as the arrays of one statement. */
#include <math.h>

#include "base/arena.h"
#include "base/num.h"
#include "db/inside.h"
#include "db/parray.h"
#include "db/sql.h"

/* Parameters of store_readings, in its order. */
enum {
    R_TOKEN,
    R_READING,
    R_AUDIT,
    R_ORIGINAL,
    R_PART,
    R_KIND,
    R_CONDITION,
    R_TAKEN,
    R_OFFSET,
    R_RECEIVED,
    R_SERIAL,
    R_MODEL,
    R_MANUFACTURER,
    R_REF_ID,
    R_REF_NUMBER,
    R_REF_FAMILY,
    R_REF_GIVEN,
    R_REF_BORN,
    R_VERTEX,
    R_FORMAT,
    R_SERIES,
    R_HASH,
    R_BODY,
    R_BRIEF,
    R_RM,
    R_RJ0,
    R_RJ45,
    R_LM,
    R_LJ0,
    R_LJ45,
    R_PURPOSE,
    R_KEY,
    R_KEY_HASH,
    R_REQUEST,
    E_ORD,
    E_EYE,
    E_SPH,
    E_CYL,
    E_AXIS,
    E_M,
    E_J0,
    E_J45,
    E_REPEATS,
    E_SPREAD,
    E_ADD,
    E_SECOND,
    E_PRISM_IN,
    E_PRISM_UP,
    E_FLAT_UM,
    E_FLAT,
    E_FLAT_AXIS,
    E_STEEP_UM,
    E_STEEP,
    E_STEEP_AXIS,
    E_LOGMAR,
    O_ID,
    O_MEDIA,
    O_BYTES,
    N_PARAMS
};

static const enum parray_type TYPES[N_PARAMS] = {
    [R_TOKEN] = PARRAY_BYTEA,
    [R_READING] = PARRAY_UUID,
    [R_AUDIT] = PARRAY_UUID,
    [R_ORIGINAL] = PARRAY_UUID,
    [R_PART] = PARRAY_INT4,
    [R_KIND] = PARRAY_TEXT,
    [R_CONDITION] = PARRAY_TEXT,
    [R_TAKEN] = PARRAY_TIMESTAMPTZ,
    [R_OFFSET] = PARRAY_INT4,
    [R_RECEIVED] = PARRAY_TIMESTAMPTZ,
    [R_SERIAL] = PARRAY_TEXT,
    [R_MODEL] = PARRAY_TEXT,
    [R_MANUFACTURER] = PARRAY_TEXT,
    [R_REF_ID] = PARRAY_UUID,
    [R_REF_NUMBER] = PARRAY_TEXT,
    [R_REF_FAMILY] = PARRAY_TEXT,
    [R_REF_GIVEN] = PARRAY_TEXT,
    [R_REF_BORN] = PARRAY_TEXT,
    [R_VERTEX] = PARRAY_INT4,
    [R_FORMAT] = PARRAY_TEXT,
    [R_SERIES] = PARRAY_TEXT,
    [R_HASH] = PARRAY_BYTEA,
    [R_BODY] = PARRAY_TEXT,
    [R_BRIEF] = PARRAY_TEXT,
    [R_RM] = PARRAY_FLOAT8,
    [R_RJ0] = PARRAY_FLOAT8,
    [R_RJ45] = PARRAY_FLOAT8,
    [R_LM] = PARRAY_FLOAT8,
    [R_LJ0] = PARRAY_FLOAT8,
    [R_LJ45] = PARRAY_FLOAT8,
    [R_PURPOSE] = PARRAY_TEXT,
    [R_KEY] = PARRAY_TEXT,
    [R_KEY_HASH] = PARRAY_BYTEA,
    [R_REQUEST] = PARRAY_TEXT,
    [E_ORD] = PARRAY_INT4,
    [E_EYE] = PARRAY_INT4,
    [E_SPH] = PARRAY_INT4,
    [E_CYL] = PARRAY_INT4,
    [E_AXIS] = PARRAY_INT4,
    [E_M] = PARRAY_FLOAT8,
    [E_J0] = PARRAY_FLOAT8,
    [E_J45] = PARRAY_FLOAT8,
    [E_REPEATS] = PARRAY_INT4,
    [E_SPREAD] = PARRAY_FLOAT8,
    [E_ADD] = PARRAY_INT4,
    [E_SECOND] = PARRAY_INT4,
    [E_PRISM_IN] = PARRAY_INT4,
    [E_PRISM_UP] = PARRAY_INT4,
    [E_FLAT_UM] = PARRAY_INT4,
    [E_FLAT] = PARRAY_INT4,
    [E_FLAT_AXIS] = PARRAY_INT4,
    [E_STEEP_UM] = PARRAY_INT4,
    [E_STEEP] = PARRAY_INT4,
    [E_STEEP_AXIS] = PARRAY_INT4,
    [E_LOGMAR] = PARRAY_FLOAT8,
    [O_ID] = PARRAY_UUID,
    [O_MEDIA] = PARRAY_TEXT,
    [O_BYTES] = PARRAY_BYTEA,
};

static void put_reference(struct parray *a, const struct db_reading *row)
{
    const struct record_patient_ref *ref = &row->reading->patient;

    parray_uuid(&a[R_REF_ID], ref->id);
    parray_text(&a[R_REF_NUMBER], ref->record_number);
    parray_text(&a[R_REF_FAMILY], row->family_fold);
    parray_text(&a[R_REF_GIVEN], row->given_fold);
    parray_text(&a[R_REF_BORN], ref->born);
}

static void put_vector(struct parray *m, const struct record_reading_eye *eye)
{
    bool here = eye->here && eye->source != RECORD_FROM_NOTHING;

    parray_real(&m[0], here ? eye->vector.m : (double)NAN);
    parray_real(&m[1], here ? eye->vector.j0 : (double)NAN);
    parray_real(&m[2], here ? eye->vector.j45 : (double)NAN);
}

static void put_meridian(struct parray *um, const struct record_meridian *k)
{
    bool here = k->here;

    parray_int(&um[0], here ? k->radius_um : NUM_ABSENT);
    parray_int(&um[1], here ? k->power_cd : NUM_ABSENT);
    parray_int(&um[2], here ? k->axis_cdeg : NUM_ABSENT);
}

/* ord is the place of its reading in the call, from 1. */
static void put_eye(struct parray *a, int32_t ord,
    const struct record_reading *reading, int side)
{
    const struct record_reading_eye *eye = &reading->eyes[side];
    bool power = eye->source != RECORD_FROM_NOTHING;
    bool axis = power && eye->power.cyl_cd != 0;

    parray_int(&a[E_ORD], ord);
    parray_int(&a[E_EYE], side + 1);
    parray_int(&a[E_SPH], power ? eye->power.sph_cd : NUM_ABSENT);
    parray_int(&a[E_CYL], power ? eye->power.cyl_cd : NUM_ABSENT);
    parray_int(&a[E_AXIS], axis ? eye->power.axis_cdeg : NUM_ABSENT);
    put_vector(&a[E_M], eye);
    parray_int(
        &a[E_REPEATS], eye->n_repeats ? (int32_t)eye->n_repeats : NUM_ABSENT);
    parray_real(
        &a[E_SPREAD], eye->n_repeats > 1 ? eye->mean.sd_total : (double)NAN);
    parray_int(&a[E_ADD], eye->add.power_cd);
    parray_int(&a[E_SECOND], eye->second_add.power_cd);
    parray_int(&a[E_PRISM_IN], eye->prism.here ? eye->prism.in_cd : NUM_ABSENT);
    parray_int(&a[E_PRISM_UP], eye->prism.here ? eye->prism.up_cd : NUM_ABSENT);
    put_meridian(&a[E_FLAT_UM], &eye->cornea.flat);
    put_meridian(&a[E_STEEP_UM], &eye->cornea.steep);
    parray_real(&a[E_LOGMAR],
        eye->acuity.has_logmar ? eye->acuity.value.logmar : (double)NAN);
}

static void put_row(struct parray *a, int32_t ord,
    const struct db_readings *unit, const struct db_reading *row)
{
    const struct record_reading *r = row->reading;

    parray_bytes(&a[R_TOKEN], unit->token_hash, 32);
    parray_uuid(&a[R_READING], row->reading_id);
    parray_uuid(&a[R_AUDIT], row->audit_id);
    parray_uuid(&a[R_ORIGINAL], unit->original_id);
    parray_int(&a[R_PART], row->part);
    parray_text(&a[R_KIND], RECORD_KIND_WORDS[r->kind]);
    parray_text(&a[R_CONDITION], row->condition_key);
    parray_time(&a[R_TAKEN], r->taken_us);
    parray_int(&a[R_OFFSET], r->taken_offset_min);
    parray_time(&a[R_RECEIVED], unit->received_us);
    parray_text(&a[R_SERIAL], r->device.serial);
    parray_text(&a[R_MODEL], r->device.model);
    parray_text(&a[R_MANUFACTURER], r->device.manufacturer);
    put_reference(a, row);
    parray_int(&a[R_VERTEX],
        r->vertex_mm100 == NUM_ABSENT ? NUM_ABSENT : r->vertex_mm100 * 10);
    parray_text(&a[R_FORMAT], row->format);
    parray_text(&a[R_SERIES], r->dicom.series);
    parray_bytes(&a[R_HASH], row->content_hash, 32);
    parray_text(&a[R_BODY], row->body);
    parray_text(&a[R_BRIEF], row->brief);
    put_vector(&a[R_RM], &r->eyes[RECORD_RIGHT]);
    put_vector(&a[R_LM], &r->eyes[RECORD_LEFT]);
    parray_text(&a[R_PURPOSE], r->pair.purpose);
    parray_text(&a[R_KEY], row->key);
    parray_bytes(&a[R_KEY_HASH], unit->body_hash, 32);
    parray_text(&a[R_REQUEST], unit->request_id);
    for (int side = 0; side < RECORD_SIDES; side++)
        if (r->eyes[side].here)
            put_eye(a, ord, r, side);
}

static struct db_call *call_of(struct arena *arena, const struct db_stmt *stmt,
    struct parray *arrays, int n)
{
    struct db_call *call = db_call_new(arena, stmt);

    for (int i = 0; i < n; i++) {
        parray_end(&arrays[i]);
        db_put_binary(call,
            arena_memdup(arena, arrays[i].bytes.data, arrays[i].bytes.len),
            arrays[i].bytes.len);
        parray_free(&arrays[i]);
    }
    return call;
}

struct db_call *append_readings_call(
    struct arena *arena, const struct append_unit *units)
{
    struct parray a[N_PARAMS];
    int32_t ord = 0;

    for (int i = 0; i < N_PARAMS; i++)
        parray_start(&a[i], TYPES[i]);
    for (; units; units = units->next) {
        const struct db_readings *unit = units->readings;

        if (!unit)
            continue;
        for (size_t i = 0; i < unit->n; i++)
            put_row(a, ++ord, unit, &unit->rows[i]);
        parray_uuid(&a[O_ID], unit->original_id);
        parray_text(&a[O_MEDIA], unit->media_type);
        parray_bytes(&a[O_BYTES], unit->bytes, unit->len);
    }
    return call_of(arena, &DB_STORE_READINGS, a, N_PARAMS);
}

struct db_call *append_views_call(
    struct arena *arena, const struct append_unit *units)
{
    static const enum parray_type types[] = {PARRAY_BYTEA, PARRAY_UUID,
        PARRAY_TIMESTAMPTZ, PARRAY_TEXT, PARRAY_TEXT, PARRAY_UUID, PARRAY_UUID,
        PARRAY_TEXT, PARRAY_TEXT};
    struct parray a[ARRAY_LEN(types)];

    for (size_t i = 0; i < ARRAY_LEN(types); i++)
        parray_start(&a[i], types[i]);
    for (; units; units = units->next) {
        const struct db_view *v = units->view;

        if (!v)
            continue;
        parray_bytes(&a[0], v->token_hash, 32);
        parray_uuid(&a[1], v->audit_id);
        parray_time(&a[2], v->at_us);
        parray_text(&a[3], v->action);
        parray_text(&a[4], v->subject_kind);
        parray_uuid(&a[5], v->subject_id);
        parray_uuid(&a[6], v->patient_id);
        parray_text(&a[7], v->request_id);
        parray_text(&a[8], v->detail);
    }
    return call_of(arena, &DB_APPEND_AUDIT, a, (int)ARRAY_LEN(types));
}
