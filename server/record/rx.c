#include "record/rx.h"

#include "base/num.h"

const char *record_final_from_word(enum record_final_from from)
{
    static const char *const words[] = {"final", "working", "none-needed"};

    return words[from];
}

static void take_working(
    const struct record_refraction *working, struct record_refraction *r)
{
    struct record_pd pd = r->pd;
    int32_t vertex = r->vertex_mm100;
    bool assumed = r->vertex_assumed;

    *r = *working;
    if (vertex != NUM_ABSENT) {
        r->vertex_mm100 = vertex;
        r->vertex_assumed = assumed;
    }
    if (record_pd_here(&pd))
        r->pd = pd;
}

static void no_lenses(struct record_refraction *r)
{
    for (int side = 0; side < 2; side++) {
        r->here[side] = true;
        r->eyes[side] = record_eye_plano();
        r->eyes[side].lens = RECORD_LENS_NONE;
    }
}

static void take_acuities(struct json_in body, struct record_refraction *r)
{
    struct json_in acuities = json_in_get(body, "acuities");

    for (int side = 0; side < 2; side++)
        if (r->here[side] && !r->eyes[side].acuity.notation)
            record_acuities_best(acuities, (enum record_side)side, "final",
                "working", &r->eyes[side].acuity);
}

enum record_final_from record_final_settle(
    struct json_in body, struct record_final *ret)
{
    struct err scratch = ERR_INIT(body.err->arena);
    struct json_in in = {body.value, body.pointer, &scratch};
    struct record_refraction working;
    enum record_final_from from = RECORD_FINAL_OWN;

    record_final_read(json_in_get(in, "final"), ret);
    if (!record_refraction_here(&ret->figures)) {
        record_refraction_read(json_in_get(in, "working"), &working);
        from = ret->outcome == RECORD_OUTCOME_NONE_NEEDED
                   ? RECORD_FINAL_NONE_NEEDED
                   : RECORD_FINAL_WORKING;
        if (from == RECORD_FINAL_WORKING)
            take_working(&working, &ret->figures);
        else
            no_lenses(&ret->figures);
    }
    take_acuities(in, &ret->figures);
    return from;
}

void record_sign_check(
    const struct record_final *final, int32_t vertex_needed_cd, struct err *err)
{
    char buf[NUM_TEXT_MAX];

    for (int side = 0; side < 2; side++)
        if (!final->figures.here[side])
            err_fault(err, side ? "/final/left" : "/final/right",
                "is required: a power, or balance, occluder, prosthesis or "
                "none");
    if (final->figures.vertex_mm100 == NUM_ABSENT &&
        record_refraction_strength(&final->figures) >= vertex_needed_cd &&
        (record_refraction_power(&final->figures, 0) ||
            record_refraction_power(&final->figures, 1)))
        err_fault(err, "/final/vertex_mm",
            "is required where a meridian has %s D or more",
            num_text(vertex_needed_cd, 2, buf));
}

const char *record_rx_expires(
    const struct record_final *final, const struct record_rx_head *head)
{
    return final->expires_on ? final->expires_on : head->expires_on;
}

const char *record_rx_status(int edition)
{
    return edition > 1 ? "amended" : "final";
}

/* ---- writing ---------------------------------------------------------- */

static void put_text(struct json_out *o, const char *key, const char *text)
{
    if (text && text[0])
        json_out_text(o, key, text);
}

static void write_people(struct json_out *o, const struct record_rx_head *head)
{
    json_out_object(o, "signed_by");
    json_out_text(o, "id", head->signer_id);
    json_out_text(o, "name", head->signer);
    put_text(o, "licence_number", head->licence_number);
    put_text(o, "address", head->address);
    json_out_object_end(o);
    json_out_object(o, "patient");
    json_out_text(o, "id", head->patient_id);
    put_text(o, "record_number", head->record_number);
    put_text(o, "family", head->family);
    put_text(o, "given", head->given);
    put_text(o, "born", head->born);
    json_out_object_end(o);
    json_out_object(o, "clinic");
    json_out_text(o, "id", head->clinic_id);
    put_text(o, "name", head->clinic);
    put_text(o, "address", head->clinic_address);
    put_text(o, "telephone", head->clinic_telephone);
    json_out_object_end(o);
}

void record_rx_write(struct json_out *o, const struct record_final *final,
    const struct record_rx_head *head)
{
    json_out_text(o, "id", head->prescription_id);
    json_out_text(o, "exam", head->exam_id);
    json_out_int(o, "edition", head->edition);
    json_out_text(o, "status", record_rx_status(head->edition));
    put_text(o, "reason", head->reason);
    json_out_text(o, "signed_at", head->signed_at);
    json_out_text(o, "performed_at", head->performed_at);
    json_out_text(o, "expires_on", record_rx_expires(final, head));
    write_people(o, head);
    put_text(o, "purpose", final->purpose);
    put_text(o, "outcome", record_outcome_word(final->outcome));
    record_refraction_write(o, &final->figures);
}
