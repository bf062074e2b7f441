#include "samples.h"

#include <string.h>

#include "base/arena.h"

static const char *const CHANGES[] = {
    "R axis 168 \xe2\x86\x92 172", "fitting heights 17.5 \xe2\x86\x92 18.0 mm"};
static const char *const CAUTIONS[] = {
    "R cylinder changed by 0.75 D since the glasses worn now."};
static const char *const NOTES[] = {"Frame is the patient's own; handle with "
                                    "care, left temple has been repaired.",
    "Call the clinic before tinting."};

/* A progressive pair with everything on it. */
static void progressive(struct print_order_page *p)
{
    print_order_page_init(p);
    p->order_id = "019cb2f4-6d1e-7a40-9c55-3f1be0a7d214";
    p->order_number = "H-2026-00418";
    p->version = 2;
    p->replaces = "version 1 of 2 March 2026";
    p->changes = (struct print_strings){ARRAY_LEN(CHANGES), CHANGES};
    p->signed_on = (struct print_date){2026, 3, 4};
    p->expires_on = (struct print_date){2028, 3, 4};
    p->patient = "Tamsin Okonjo-Lindqvist";
    p->record_number = "Q-10442";
    p->born = (struct print_date){1971, 11, 9};
    p->prescriber = "Ilse Marchetti-Rao";
    p->licence = "OPT 55-2071";
    p->address = "12 Quayside Walk, Harbourton HB2 4QX";
    p->clinic = "Harbour Street clinic";
    p->network = "Three Lanterns";
    p->lab = "North Bench workshop";
    p->deliver_to = "Harbour Street clinic";
    p->purpose = "distance and near";
    p->priority = "routine";
    p->eye[PRINT_RIGHT] = (struct print_eye){.lens = PRINT_POWER,
        .sphere_cd = -225,
        .cylinder_cd = -75,
        .axis_deg = 172,
        .add_cd = 200,
        .intermediate_add_cd = 125,
        .prism = {2, {{200, PRINT_IN}, {100, PRINT_UP}}},
        .near_prism = {1, {{250, PRINT_IN}}},
        .pd_far_mm100 = 3150,
        .pd_near_mm100 = 2975,
        .fitting_height_mm100 = 1800};
    p->eye[PRINT_LEFT] = (struct print_eye){.lens = PRINT_POWER,
        .sphere_cd = 0,
        .cylinder_cd = -125,
        .axis_deg = 5,
        .add_cd = 200,
        .intermediate_add_cd = 125,
        .prism = {1, {{200, PRINT_IN}}},
        .near_prism = {1, {{250, PRINT_IN}}},
        .pd_far_mm100 = 3200,
        .pd_near_mm100 = 3025,
        .fitting_height_mm100 = 1800};
    p->vertex_mm100 = 1200;
    p->pd_far_mm100 = 6350;
    p->pd_near_mm100 = 6000;
    p->design = "progressive";
    p->material = "resin";
    p->index_milli = 1600;
    p->treatments = "hard coat, anti-reflection";
    p->tint = "brown gradient 50 to 10 percent";
    p->a_mm100 = 5200;
    p->b_mm100 = 3650;
    p->dbl_mm100 = 1800;
    p->ed_mm100 = 5450;
    p->worn_vertex_mm100 = 1350;
    p->tilt_cdeg = 800;
    p->wrap_cdeg = 500;
    p->supply = "enclosed";
    p->check_word = "KAFU-93TE-MOPA";
    p->code = "LC1;019cb2f4-6d1e-7a40-9c55-3f1be0a7d214;2;"
              "R-225-075x172+200p200I100Un250I31.50/29.75h18.00;"
              "L+000-125x005+200p200In250I32.00/30.25h18.00;v12.00;"
              "progressive;resin;1600;A52.00B36.50D18.00E54.50;KAFU-93TE-MOPA;"
              "mOB3mT2JcQ9nSkz0y6uVtq1mAcP7eWlR4xYdG8sHoKbIiN5vTfZjU2aLgEw0XrC"
              "pD3hFqM6nBkSyJ9oV1tQzA";
    p->cautions = (struct print_strings){ARRAY_LEN(CAUTIONS), CAUTIONS};
    p->notes = (struct print_strings){ARRAY_LEN(NOTES), NOTES};
}

/* Distance only: the least an order may hold, so most fields are struck. */
static void single_vision(struct print_order_page *p)
{
    print_order_page_init(p);
    p->order_id = "019cb2f5-0000-7a40-9c55-000000000001";
    p->order_number = "H-2026-00419";
    p->signed_on = (struct print_date){2026, 3, 4};
    p->patient = "Oyelaran";
    p->record_number = "Q-10518";
    p->prescriber = "Ilse Marchetti-Rao";
    p->licence = "OPT 55-2071";
    p->address = "12 Quayside Walk, Harbourton HB2 4QX";
    p->clinic = "Harbour Street clinic";
    p->network = "Three Lanterns";
    p->lab = "North Bench workshop";
    p->purpose = "distance";
    p->priority = "urgent";
    p->eye[PRINT_RIGHT].sphere_cd = -2250;
    p->eye[PRINT_RIGHT].cylinder_cd = -600;
    p->eye[PRINT_RIGHT].axis_deg = 90;
    p->eye[PRINT_RIGHT].pd_far_mm100 = 3100;
    p->eye[PRINT_LEFT].sphere_cd = 1825;
    p->eye[PRINT_LEFT].cylinder_cd = 0;
    p->eye[PRINT_LEFT].pd_far_mm100 = 3150;
    p->vertex_mm100 = 1200;
    p->design = "single-vision";
    p->material = "polyurethane";
    p->index_milli = 1498;
    p->a_mm100 = 4800;
    p->b_mm100 = 3200;
    p->dbl_mm100 = 2000;
    p->ed_mm100 = 5000;
    p->check_word = "ZEPA-77QO-LIKU";
    p->code = "LC1;019cb2f5-0000-7a40-9c55-000000000001;1;"
              "R-2250-600x090;L+1825;v12.00";
}

/* One eye only, the other a balance lens. */
static void balance(struct print_order_page *p)
{
    single_vision(p);
    p->eye[PRINT_LEFT].lens = PRINT_BALANCE;
    p->eye[PRINT_LEFT].sphere_cd = PRINT_ABSENT;
    p->eye[PRINT_LEFT].cylinder_cd = PRINT_ABSENT;
    p->not_to_be_made = "cancelled on 5 March 2026";
}

/* The right lens alone, in plus cylinder and eighths, for US paper. */
static void right_only(struct print_order_page *p)
{
    single_vision(p);
    p->make = PRINT_RIGHT_ONLY;
    p->eye[PRINT_RIGHT].sphere_cd = -212;
    p->eye[PRINT_RIGHT].cylinder_cd = 62;
    p->eye[PRINT_RIGHT].axis_deg = 180;
}

static void plus_cylinder(struct print_order_page *p)
{
    progressive(p);
    p->eye[PRINT_RIGHT].sphere_cd = -300;
    p->eye[PRINT_RIGHT].cylinder_cd = 75;
    p->eye[PRINT_RIGHT].axis_deg = 82;
    p->eye[PRINT_LEFT].sphere_cd = -125;
    p->eye[PRINT_LEFT].cylinder_cd = 125;
    p->eye[PRINT_LEFT].axis_deg = 95;
}

#define NAME_CHARS 120

static const struct {
    const char *name, *pattern;
} SCRIPTS[] = {
    {"names-latin", "Wilhelmina Ad\u00e9b\u00e1y\u1ecd\u0300 "
                    "\u00de\u00f3rhildur O'Hara-St\u00f8rmoen "},
    {"names-arabic", "نورالدين عبدالرحمن المرزوقي "},
    {"names-devanagari", "राजलक्ष्मी त्रिवेदी श्रीकृष्णन् "},
    {"names-chinese", "司徒欧阳诸葛慕容静岚雅文子轩若溪"},
    {"names-mixed", "Noor نورالدين 司徒 राजलक्ष्मी Þóra "},
};

/* pattern again and again, cut after 120 characters. */
static void long_name(char *buf, const char *pattern)
{
    size_t len = 0, chars = 0;

    for (size_t at = 0;; at = pattern[at + 1] ? at + 1 : 0) {
        bool starts = ((unsigned char)pattern[at] & 0xC0) != 0x80;

        if (starts && ++chars > NAME_CHARS)
            break;
        buf[len++] = pattern[at];
    }
    buf[len] = '\0';
}

/* Every name on the page 120 characters long. */
static void long_names(struct print_order_page *p, const char *pattern)
{
    static char name[NAME_CHARS * 4 + 1];

    progressive(p);
    long_name(name, pattern);
    p->patient = name;
    p->prescriber = name;
    p->clinic = name;
    p->network = name;
    p->lab = name;
}

/* Characters that no font has: private use. */
static void no_glyphs(struct print_order_page *p)
{
    single_vision(p);
    p->patient = "Ada \ue001\ue002 Quill";
}

static void many_notes(struct print_order_page *p)
{
    static const char *notes[60];

    progressive(p);
    for (size_t i = 0; i < ARRAY_LEN(notes); i++)
        notes[i] = "A note that stands on a line of its own.";
    p->notes = (struct print_strings){ARRAY_LEN(notes), notes};
}

static void too_long(struct print_order_page *p)
{
    static char address[6001];

    progressive(p);
    memset(address, 'm', sizeof(address) - 1);
    p->address = address;
}

static void markup(struct print_order_page *p)
{
    single_vision(p);
    p->patient = "<b>\"Ann\" & 'Bo'</b>";
    p->record_number = "</td><script>alert(1)</script>";
    p->order_number = "<i>7</i>";
    p->deliver_to = "a\nb\tc\x1b[31m \xff";
}

bool sample_page(const char *name, struct print_order_page *page)
{
    static const struct {
        const char *name;
        void (*fill)(struct print_order_page *page);
    } SAMPLES[] = {{"progressive", progressive},
        {"single-vision", single_vision}, {"balance", balance},
        {"right-only", right_only}, {"plus-cylinder", plus_cylinder},
        {"no-glyphs", no_glyphs}, {"many-notes", many_notes},
        {"too-long", too_long}, {"markup", markup}};

    for (size_t i = 0; i < ARRAY_LEN(SAMPLES); i++)
        if (strcmp(SAMPLES[i].name, name) == 0) {
            SAMPLES[i].fill(page);
            return true;
        }
    for (size_t i = 0; i < ARRAY_LEN(SCRIPTS); i++)
        if (strcmp(SCRIPTS[i].name, name) == 0) {
            long_names(page, SCRIPTS[i].pattern);
            return true;
        }
    return false;
}
