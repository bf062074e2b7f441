#include "instruments/dicom_eye.h"

#include "base/arena.h"
#include "base/num.h"
#include "instruments/dicom_attr.h"
#include "record/eye.h"

static const double SPHERE[] = {
    -OPTICS_RX_MERIDIAN_MAX_CD / 100.0, OPTICS_RX_MERIDIAN_MAX_CD / 100.0};
static const double CYLINDER[] = {
    -OPTICS_RX_CYL_MAX_CD / 100.0, OPTICS_RX_CYL_MAX_CD / 100.0};
static const double AXIS[] = {0, 180};

/* Sphere, and the cylinder sequence that is left out of a sphere alone. */
static void read_sent(struct json_in item, struct record_sent *sent)
{
    struct record_sent_at at = {.sph = json_in_get(item, "00460146")};
    struct json_in cyl;

    if (dicom_need(item, "00460146", "SpherePower"))
        dicom_scaled(item, "00460146", 2, SPHERE, &sent->sph_cd);
    if (!dicom_item(item, "00460018", &cyl))
        return;
    at.cyl = json_in_get(cyl, "00460147");
    at.axis = json_in_get(cyl, "00220009");
    if (dicom_need(cyl, "00460147", "CylinderPower"))
        dicom_scaled(cyl, "00460147", 2, CYLINDER, &sent->cyl_cd);
    if (dicom_need(cyl, "00220009", "CylinderAxis"))
        dicom_scaled(cyl, "00220009", 2, AXIS, &sent->axis_cdeg);
    else
        return;
    record_sent_check(*sent, &at);
}

static void read_add(
    struct json_in item, const char *tag, struct record_add *add)
{
    static const double power[] = {
        RECORD_ADD_MIN_CD / 100.0, RECORD_ADD_MAX_CD / 100.0};
    static const double distance_cm[] = {10, 1000};
    struct json_in set;
    int32_t mm;

    if (!dicom_item(item, tag, &set))
        return;
    if (dicom_need(set, "00460104", "AddPower"))
        dicom_scaled(set, "00460104", 2, power, &add->power_cd);
    if (dicom_scaled(set, "00460106", 1, distance_cm, &mm))
        add->at_mm = mm; /* tenths of a centimetre */
}

/* One of the two pairs of a prism sequence, of which each is required. */
static int32_t read_prism_part(struct json_in set, const char *power_tag,
    const char *base_tag, const char *const bases[])
{
    static const double range[] = {0, RECORD_PRISM_MAX_CD / 100.0};
    int32_t cd = 0;
    int base = 0;

    if (dicom_need(set, power_tag, "prism power"))
        dicom_scaled(set, power_tag, 2, range, &cd);
    if (dicom_need(set, base_tag, "prism base"))
        dicom_word(set, base_tag, bases, &base);
    return base ? -cd : cd;
}

static void read_prism(
    struct json_in item, struct record_reading *r, struct record_prism *prism)
{
    static const char *const horizontal[] = {"IN", "OUT", NULL};
    static const char *const vertical[] = {"UP", "DOWN", NULL};
    struct json_in set;

    if (!dicom_item(item, "00460028", &set))
        return;
    prism->here = true;
    prism->amount_cd = prism->angle_cdeg = NUM_ABSENT;
    prism->in_cd = read_prism_part(set, "00460030", "00460032", horizontal);
    prism->up_cd = read_prism_part(set, "00460034", "00460036", vertical);
    dicom_vertex_read(set, r);
}

void dicom_vertex_read(struct json_in set, struct record_reading *reading)
{
    static const double range[] = {0, 30};
    int32_t mm100;

    if (!dicom_scaled(set, "0022000F", 2, range, &mm100))
        return;
    if (reading->vertex_mm100 != NUM_ABSENT && reading->vertex_mm100 != mm100) {
        char a[NUM_TEXT_MAX], b[NUM_TEXT_MAX];

        err_fault(set.err, dicom_value(set, "0022000F", 0).pointer,
            "is %s mm here and %s mm at %s; a reading has one vertex distance",
            num_text(mm100, 2, a), num_text(reading->vertex_mm100, 2, b),
            reading->vertex_place);
        return;
    }
    if (reading->vertex_mm100 == NUM_ABSENT)
        reading->vertex_place = json_in_get(set, "0022000F").pointer;
    reading->vertex_mm100 = mm100;
}

static void read_lens(struct json_in item, struct record_reading_eye *eye)
{
    static const char *const segments[] = {
        "PROGRESSIVE", "NONPROGRESSIVE", NULL};
    static const char *const types[] = {"progressive", "not-progressive"};
    static const double percent[] = {0, 100}, channel_mm[] = {1, 40};
    int i;

    if (dicom_word(item, "00460038", segments, &i))
        eye->lens_type = types[i];
    dicom_scaled(item, "00460040", 2, percent, &eye->transmittance_e2);
    dicom_scaled(item, "00460042", 2, channel_mm, &eye->channel_mm100);
}

void dicom_power_read(
    struct json_in item, enum record_side side, struct record_reading *reading)
{
    static const double pupil_mm[] = {0.5, 12}, cornea_mm[] = {5, 18};
    struct record_reading_eye *eye = &reading->eyes[side];

    read_sent(item, &eye->sent);
    dicom_vertex_read(item, reading);
    if (reading->kind == RECORD_AUTOREFRACTION) {
        dicom_scaled(item, "00460044", 2, pupil_mm, &eye->pupil_mm100);
        dicom_scaled(item, "00460046", 2, cornea_mm, &eye->cornea_mm100);
        return;
    }
    read_prism(item, reading, &eye->prism);
    read_add(item, "00460100", &eye->add);
    read_add(item, "00460101", &eye->intermediate_add);
    if (reading->kind == RECORD_LENSOMETRY)
        read_lens(item, eye);
    else
        read_add(item, "00460102", &eye->second_add);
}

static void read_meridian(struct json_in item, const char *tag,
    const char *keyword, struct record_meridian *m)
{
    static const double radius[] = {
        RECORD_RADIUS_MIN_UM / 1000.0, RECORD_RADIUS_MAX_UM / 1000.0};
    static const double power[] = {
        RECORD_K_MIN_CD / 100.0, RECORD_K_MAX_CD / 100.0};
    struct json_in set;

    if (!json_in_here(json_in_get(item, tag))) {
        dicom_need(item, tag, keyword);
        return;
    }
    if (!dicom_item(item, tag, &set))
        return;
    m->here = true;
    if (dicom_need(set, "00460075", "RadiusOfCurvature"))
        dicom_scaled(set, "00460075", 3, radius, &m->radius_um);
    if (dicom_need(set, "00460076", "KeratometricPower"))
        dicom_scaled(set, "00460076", 2, power, &m->power_cd);
    if (dicom_need(set, "00460077", "KeratometricAxis"))
        dicom_scaled(set, "00460077", 2, AXIS, &m->axis_cdeg);
    if (m->axis_cdeg == 0)
        m->axis_cdeg = OPTICS_AXIS_MAX_CDEG;
}

void dicom_cornea_read(
    struct json_in item, enum record_side side, struct record_reading *reading)
{
    struct record_cornea *c = &reading->eyes[side].cornea;

    read_meridian(item, "00460074", "SteepKeratometricAxisSequence", &c->steep);
    read_meridian(item, "00460080", "FlatKeratometricAxisSequence", &c->flat);
}

/* Letters gained and letters missed; only what is left of both has a place
 * in the text, and both together are -6 to 6 at most. */
static bool read_modifiers(struct json_in item, int32_t *ret)
{
    static const double range[] = {-3, 3};
    size_t n = dicom_count(item, "00460135");

    *ret = 0;
    if (n == 0)
        return true;
    if (n != 2) {
        err_fault(item.err, json_in_get(item, "00460135").pointer,
            "must have two values, not %zu", n);
        return false;
    }
    for (size_t i = 0; i < n; i++) {
        struct json_in at = dicom_value(item, "00460135", i);
        int32_t letters;

        if (!json_in_need(at) || !json_in_scaled(at, 0, range, &letters))
            return false;
        *ret += letters;
    }
    return true;
}

void dicom_acuity_read(
    struct json_in item, enum record_side side, struct record_reading *reading)
{
    static const double range[] = {0.0001, 10};
    struct record_reading_eye *eye = &reading->eyes[side];
    char number[NUM_TEXT_MAX];
    const char *text;
    int32_t letters;
    double decimal;

    if (!dicom_need(item, "00460137", "DecimalVisualAcuity") ||
        !dicom_number(item, "00460137", range, &decimal) ||
        !read_modifiers(item, &letters))
        return;
    text = num_trim(decimal, 4, number);
    text = letters ? arena_printf(item.err->arena, "%s%+d", text, letters)
                   : arena_strdup(item.err->arena, text);
    record_acuity_of(dicom_value(item, "00460137", 0), OPTICS_WRITTEN_DECIMAL,
        text, &eye->acuity);
}
