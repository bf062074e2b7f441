#include "instruments/dicom_report.h"

#include <string.h>

#include "base/arena.h"
#include "base/num.h"
#include "instruments/dicom_attr.h"
#include "instruments/dicom_head.h"
#include "record/eye.h"

#define TEXT_MAX 2000
#define ITEMS_MAX 1000

/* What a content item is about. */
enum about {
    REPORT,
    RIGHT,
    LEFT,
    FAR_PD,
    NEAR_PD,
    COMMENT,
    SPHERE,
    CYLINDER,
    AXIS,
    ADD_NEAR,
    ADD_INTERMEDIATE,
    ADD_OTHER,
    HORIZONTAL,
    HORIZONTAL_BASE,
    VERTICAL,
    VERTICAL_BASE,
    ABOUTS
};

static const struct {
    const char *meaning, *value_type;
} ABOUT[ABOUTS] = {
    [REPORT] = {"Spectacle Prescription Report", "CONTAINER"},
    [RIGHT] = {"Right Eye Rx", "CONTAINER"},
    [LEFT] = {"Left Eye Rx", "CONTAINER"},
    [FAR_PD] = {"Distance Pupillary Distance", "NUM"},
    [NEAR_PD] = {"Near Pupillary Distance", "NUM"},
    [COMMENT] = {"Comment", "TEXT"},
    [SPHERE] = {"Sphere", "NUM"},
    [CYLINDER] = {"Cylinder Power", "NUM"},
    [AXIS] = {"Axis", "NUM"},
    [ADD_NEAR] = {"Add Near", "NUM"},
    [ADD_INTERMEDIATE] = {"Add Intermediate", "NUM"},
    [ADD_OTHER] = {"Add Other", "NUM"},
    [HORIZONTAL] = {"Horizontal Prism Power", "NUM"},
    [HORIZONTAL_BASE] = {"Horizontal Prism Base", "CODE"},
    [VERTICAL] = {"Vertical Prism Power", "NUM"},
    [VERTICAL_BASE] = {"Vertical Prism Base", "CODE"},
};

struct code {
    const char *scheme, *value;
    int means;
};

static const struct code CONCEPTS[] = {
    {"DCM", "111671", REPORT},
    {"DCM", "111688", RIGHT},
    {"DCM", "111689", LEFT},
    {"DCM", "111679", FAR_PD},
    {"DCM", "111680", NEAR_PD},
    {"DCM", "121106", COMMENT},
    {"SCT", "251795007", SPHERE},
    {"SRT", "F-02FB4", SPHERE},
    {"SCT", "251797004", CYLINDER},
    {"SRT", "F-A2143", CYLINDER},
    {"SCT", "251799001", AXIS},
    {"SRT", "F-02FB7", AXIS},
    {"DCM", "111672", ADD_NEAR},
    {"DCM", "111673", ADD_INTERMEDIATE},
    {"DCM", "111674", ADD_OTHER},
    {"DCM", "111675", HORIZONTAL},
    {"DCM", "111676", HORIZONTAL_BASE},
    {"DCM", "111677", VERTICAL},
    {"DCM", "111678", VERTICAL_BASE},
    {NULL, NULL, 0},
};

/* CID 4214 and 4215; 1 is in, or up. */
static const struct code HORIZONTAL_BASES[] = {
    {"SCT", "255460003", 1},
    {"SRT", "G-C028", 1},
    {"SCT", "255543005", -1},
    {"SRT", "R-404C7", -1},
    {NULL, NULL, 0},
};
static const struct code VERTICAL_BASES[] = {
    {"SCT", "255532002", 1},
    {"SRT", "R-404BE", 1},
    {"SCT", "255518004", -1},
    {"SRT", "R-404B3", -1},
    {NULL, NULL, 0},
};

/* The content items of one container by what they are about. */
struct content {
    struct json_in set; /* the container */
    struct json_in items[ABOUTS];
    bool here[ABOUTS];
    bool good[ABOUTS]; /* of the right type */
};

/* ---- codes and values -------------------------------------------------- */

/* The one code of a sequence.  A fault where there is none. */
static bool read_code(struct json_in set, const char *tag, const char *keyword,
    const char **ret_scheme, const char **ret_value)
{
    struct json_in item;

    if (!json_in_here(json_in_get(set, tag))) {
        dicom_need(set, tag, keyword);
        return false;
    }
    return dicom_item(set, tag, &item) &&
           dicom_need(item, "00080100", "CodeValue") &&
           dicom_need(item, "00080102", "CodingSchemeDesignator") &&
           dicom_text(item, "00080100", 64, ret_value) &&
           dicom_text(item, "00080102", 64, ret_scheme);
}

static const struct code *find_code(
    const struct code *codes, const char *scheme, const char *value)
{
    for (; codes->scheme; codes++)
        if (strcmp(codes->scheme, scheme) == 0 &&
            strcmp(codes->value, value) == 0)
            return codes;
    return NULL;
}

/* A content item is about what its concept name says; -1: nothing known, or
 * nothing that can be read. */
static int about_of(struct json_in item)
{
    const char *scheme, *value;
    const struct code *code;

    if (!read_code(
            item, "0040A043", "ConceptNameCodeSequence", &scheme, &value))
        return -1;
    code = find_code(CONCEPTS, scheme, value);
    return code ? code->means : -1;
}

static bool check_value_type(struct json_in item, enum about about)
{
    const char *words[] = {ABOUT[about].value_type, NULL};
    int i;

    return dicom_need(item, "0040A040", "ValueType") &&
           dicom_word(item, "0040A040", words, &i);
}

static void read_content(struct json_in set, struct content *c)
{
    struct json_in list = json_in_get(json_in_get(set, "0040A730"), "Value");
    size_t n = 0;

    c->set = set;
    if (!dicom_need(set, "0040A730", "ContentSequence") ||
        !json_in_array(list, 0, ITEMS_MAX, &n))
        return;
    for (size_t i = 0; i < n; i++) {
        struct json_in item = json_in_item(list, i);
        int about;

        if (!json_is_object(item.value)) {
            err_fault(set.err, item.pointer, "must be an item (an object)");
            continue;
        }
        about = about_of(item);
        if (about < 0)
            continue;
        if (c->here[about]) {
            err_fault(set.err, item.pointer, "stands twice (%s)",
                ABOUT[about].meaning);
            continue;
        }
        c->here[about] = true;
        c->good[about] = check_value_type(item, (enum about)about);
        c->items[about] = item;
    }
}

static bool check_units(struct json_in measured, const char *units)
{
    const char *scheme, *value;

    if (!read_code(measured, "004008EA", "MeasurementUnitsCodeSequence",
            &scheme, &value))
        return false;
    if (strcmp(scheme, "UCUM") == 0 && strcmp(value, units) == 0)
        return true;
    err_fault(measured.err, json_in_get(measured, "004008EA").pointer,
        "must be \"%s\" of UCUM, not \"%s\" of \"%s\"", units, value, scheme);
    return false;
}

/* The number of an item, hundredths of units, if the item is there. */
static void read_figure(struct content *c, enum about about, const char *units,
    const double range[2], int32_t *ret)
{
    struct json_in item = c->items[about], measured;
    bool good;

    if (!c->good[about])
        return;
    if (!json_in_here(json_in_get(item, "0040A300"))) {
        dicom_need(item, "0040A300", "MeasuredValueSequence");
        return;
    }
    if (!dicom_item(item, "0040A300", &measured))
        return;
    good = dicom_need(measured, "0040A30A", "NumericValue");
    if (check_units(measured, units) && good)
        dicom_scaled(measured, "0040A30A", 2, range, ret);
}

static void need(const struct content *c, enum about about, enum about beside)
{
    err_fault(c->set.err, json_in_get(c->set, "0040A730").pointer,
        "%s is required beside %s", ABOUT[about].meaning,
        ABOUT[beside].meaning);
}

/* ---- an eye (TID 2021) ------------------------------------------------- */

static void read_power(struct content *c, struct record_sent *sent)
{
    static const double sphere[] = {
        -OPTICS_RX_MERIDIAN_MAX_CD / 100.0, OPTICS_RX_MERIDIAN_MAX_CD / 100.0};
    static const double cylinder[] = {
        -OPTICS_RX_CYL_MAX_CD / 100.0, OPTICS_RX_CYL_MAX_CD / 100.0};
    static const double axis[] = {0, 180};
    struct record_sent_at at = {
        c->items[SPHERE], c->items[CYLINDER], c->items[AXIS]};

    if (!c->here[SPHERE])
        err_fault(c->set.err, json_in_get(c->set, "0040A730").pointer,
            "Sphere is required");
    read_figure(c, SPHERE, "[diop]", sphere, &sent->sph_cd);
    read_figure(c, CYLINDER, "[diop]", cylinder, &sent->cyl_cd);
    read_figure(c, AXIS, "deg", axis, &sent->axis_cdeg);
    if (c->here[CYLINDER] && !c->here[AXIS])
        need(c, AXIS, CYLINDER);
    else if (c->here[AXIS] && !c->here[CYLINDER])
        need(c, CYLINDER, AXIS);
    else
        record_sent_check(*sent, &at);
}

/* Hundredths of a prism dioptre with the sign of its base; 0: none. */
static int32_t read_prism_part(struct content *c, enum about power,
    enum about base, const struct code *bases)
{
    static const double range[] = {0, RECORD_PRISM_MAX_CD / 100.0};
    const char *scheme, *value;
    const struct code *code = NULL;
    int32_t cd = 0;

    read_figure(c, power, "[p'diop]", range, &cd);
    if (c->here[power] && !c->here[base])
        need(c, base, power);
    if (c->here[base] && !c->here[power])
        need(c, power, base);
    if (!c->good[base] || !read_code(c->items[base], "0040A168",
                              "ConceptCodeSequence", &scheme, &value))
        return 0;
    code = find_code(bases, scheme, value);
    if (code)
        return code->means * cd;
    err_fault(c->set.err, json_in_get(c->items[base], "0040A168").pointer,
        "is no %s: \"%s\" of \"%s\"", ABOUT[base].meaning, value, scheme);
    return 0;
}

static void read_eye(struct json_in set, struct record_reading_eye *eye)
{
    static const double add[] = {
        RECORD_ADD_MIN_CD / 100.0, RECORD_ADD_MAX_CD / 100.0};
    struct content c = {0};
    struct record_prism *prism = &eye->prism;

    read_content(set, &c);
    read_power(&c, &eye->sent);
    read_figure(&c, ADD_NEAR, "[diop]", add, &eye->add.power_cd);
    read_figure(
        &c, ADD_INTERMEDIATE, "[diop]", add, &eye->intermediate_add.power_cd);
    read_figure(&c, ADD_OTHER, "[diop]", add, &eye->second_add.power_cd);
    if (!c.here[HORIZONTAL] && !c.here[HORIZONTAL_BASE] && !c.here[VERTICAL] &&
        !c.here[VERTICAL_BASE])
        return;
    prism->here = true;
    prism->amount_cd = prism->angle_cdeg = NUM_ABSENT;
    prism->in_cd =
        read_prism_part(&c, HORIZONTAL, HORIZONTAL_BASE, HORIZONTAL_BASES);
    prism->up_cd = read_prism_part(&c, VERTICAL, VERTICAL_BASE, VERTICAL_BASES);
}

/* ---- the report (TID 2020) --------------------------------------------- */

/* Who answers for it; required (PS3.3 C.17.2) once it is verified. */
static void read_observer(struct json_in set, struct record_prescription *p)
{
    struct json_in at = json_in_get(set, "0040A073");
    struct json_in observer = dicom_value(set, "0040A073", 0), name;
    size_t before = set.err->n_faults;

    if (dicom_count(set, "0040A073") == 0 || !json_is_object(observer.value)) {
        if (set.err->n_faults == before)
            err_fault(set.err, at.pointer,
                "is required (VerifyingObserverSequence) in a verified report");
        return;
    }
    (void)dicom_need(observer, "0040A027", "VerifyingOrganization");
    (void)dicom_need(observer, "0040A030", "VerificationDateTime");
    if (!dicom_need(observer, "0040A075", "VerifyingObserverName"))
        return;
    name = json_in_get(dicom_value(observer, "0040A075", 0), "Alphabetic");
    if (json_in_need(name) && json_in_text(name, 400, &p->by))
        p->by = dicom_name_words(set.err->arena, p->by);
}

static void read_flags(struct json_in set, struct record_prescription *p)
{
    static const char *const done[] = {"COMPLETE", "PARTIAL", NULL};
    static const char *const verified[] = {"UNVERIFIED", "VERIFIED", NULL};
    int partial = 0, is_verified = 0;

    if (dicom_need(set, "0040A491", "CompletionFlag"))
        dicom_word(set, "0040A491", done, &partial);
    if (dicom_need(set, "0040A493", "VerificationFlag"))
        dicom_word(set, "0040A493", verified, &is_verified);
    p->verified = is_verified ? RECORD_YES : RECORD_NO;
    if (!is_verified)
        return;
    if (partial)
        err_fault(set.err, dicom_value(set, "0040A493", 0).pointer,
            "a report that is PARTIAL can't be VERIFIED");
    read_observer(set, p);
}

void dicom_report_read(struct json_in set, struct record_reading *reading)
{
    static const double pd_mm[] = {30, 90};
    static const enum about sides[] = {RIGHT, LEFT};
    struct content c = {0};

    reading->prescription.here = true;
    read_flags(set, &reading->prescription);
    check_value_type(set, REPORT);
    if (about_of(set) != REPORT)
        err_fault(set.err, json_in_get(set, "0040A043").pointer,
            "must name a %s (111671 of DCM)", ABOUT[REPORT].meaning);
    read_content(set, &c);
    for (int side = RECORD_RIGHT; side <= RECORD_LEFT; side++) {
        reading->eyes[side].here = c.here[sides[side]];
        if (c.good[sides[side]])
            read_eye(c.items[sides[side]], &reading->eyes[side]);
    }
    if (!c.here[RIGHT] && !c.here[LEFT] && dicom_count(set, "0040A730") > 0)
        err_fault(set.err, json_in_get(set, "0040A730").pointer,
            "holds the prescription of no eye");
    read_figure(&c, FAR_PD, "mm", pd_mm, &reading->pd.far.binocular_mm100);
    read_figure(&c, NEAR_PD, "mm", pd_mm, &reading->pd.near.binocular_mm100);
    if (c.good[COMMENT] &&
        dicom_need(c.items[COMMENT], "0040A160", "TextValue"))
        dicom_text(c.items[COMMENT], "0040A160", TEXT_MAX, &reading->comment);
}
