/* instruments/fhir_prescription.c - a VisionPrescription is what somebody
 * elsewhere prescribed. */
#include <string.h>

#include "base/arena.h"
#include "instruments/fhir_inside.h"

#define PRODUCT                                                                \
    "http://terminology.hl7.org/CodeSystem/ex-visionprescriptionproduct"

/* Elements of contact lenses, which are no glasses: their power is for
 * another place. */
static bool is_glasses(struct json_in lens)
{
    static const char *const contact[] = {
        "power", "backCurve", "diameter", "duration", "color", "brand"};
    struct json_in product = json_in_get(lens, "product");
    bool good = true;

    if (!fhir_has_code(product, PRODUCT, "lens")) {
        err_fault(lens.err, product.pointer,
            fhir_has_code(product, PRODUCT, "contact")
                ? "is a contact lens: its power is no power of glasses, and "
                  "isn't kept here"
                : "must be the product \"lens\" of %s",
            PRODUCT);
        return false;
    }
    for (size_t i = 0; i < ARRAY_LEN(contact); i++) {
        struct json_in at = json_in_get(lens, contact[i]);

        if (json_in_here(at)) {
            err_fault(lens.err, at.pointer, "belongs to a contact lens");
            good = false;
        }
    }
    return good;
}

static void put_figure(struct fhir_draft *draft, const char *side,
    struct json_in lens, const char *name)
{
    struct json_in at = json_in_get(lens, name);

    if (json_in_here(at))
        fhir_put(draft, arena_printf(draft->arena, "/%s/%s", side, name),
            json_incref((json_t *)at.value), at);
}

static json_t *prism_of(struct json_in in)
{
    static const char *const bases[] = {"up", "down", "in", "out", NULL};
    struct json_in base = json_in_get(in, "base");
    int word;

    if (!json_in_choice(base, bases, &word))
        return NULL;
    return json_pack("{s:O, s:s}", "amount", json_in_get(in, "amount").value,
        "base", bases[word]);
}

static void put_prisms(
    struct fhir_draft *draft, const char *side, struct json_in list)
{
    json_t *prisms = json_array();

    for (size_t i = 0; i < json_array_size(list.value); i++) {
        json_t *one = prism_of(json_in_item(list, i));

        if (one)
            json_array_append_new(prisms, one);
    }
    if (json_array_size(prisms) == json_array_size(list.value))
        fhir_put(
            draft, arena_printf(draft->arena, "/%s/prism", side), prisms, list);
    else
        json_decref(prisms);
}

static void read_lens(struct fhir_draft *draft, struct json_in lens)
{
    static const char *const eyes[] = {"right", "left", NULL};
    static const char *const figures[] = {"sphere", "cylinder", "axis", "add"};
    struct json_in prism = json_in_get(lens, "prism");
    int eye;

    if (!json_in_choice(json_in_get(lens, "eye"), eyes, &eye) ||
        !is_glasses(lens))
        return;
    fhir_put(draft, arena_printf(draft->arena, "/%s/lens", eyes[eye]),
        json_string("power"), lens);
    for (size_t i = 0; i < ARRAY_LEN(figures); i++)
        put_figure(draft, eyes[eye], lens, figures[i]);
    if (json_in_here(prism))
        put_prisms(draft, eyes[eye], prism);
}

static void check_status(struct json_in in)
{
    static const char *const states[] = {
        "active", "cancelled", "draft", "entered-in-error", NULL};
    struct json_in at = json_in_get(in, "status");
    int word;

    if (json_in_choice(at, states, &word) && word != 0)
        err_fault(in.err, at.pointer,
            "is \"%s\": only an active prescription is taken", states[word]);
}

bool fhir_prescription_read(
    struct json_in in, const struct fhir_pool *pool, struct fhir_draft *draft)
{
    struct json_in lenses = json_in_get(in, "lensSpecification");
    size_t before = in.err->n_faults;

    draft->prescription = true;
    draft->by = fhir_name_of(in, json_in_get(in, "prescriber"), pool);
    fhir_put_text(draft, "/kind", "subjective", in);
    check_status(in);
    fhir_put_time(draft, json_in_get(in, "dateWritten"));
    fhir_put_patient(draft, in, json_in_get(in, "patient"), pool);
    for (size_t i = 0; i < json_array_size(lenses.value); i++)
        read_lens(draft, json_in_item(lenses, i));
    return in.err->n_faults == before;
}
