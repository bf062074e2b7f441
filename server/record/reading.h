#pragma once
/*
 * record/reading.h - one instrument's output for one patient at one time.
 *
 * What a decoder makes of a payload, whatever the format, and what is stored.
 * An int32_t that isn't there is NUM_ABSENT, a text NULL.  Lengths end in
 * _mm100 (hundredths of a millimetre), _um or _mm, powers in _cd, axes in
 * _cdeg.  Everything that a reading points to lives in one arena.
 */
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "optics/power.h"
#include "optics/vector.h"
#include "record/acuity.h"
#include "record/cornea.h"
#include "record/pd.h"
#include "record/power.h"
#include "record/prism.h"
#include "record/side.h"

struct arena;

/* The measurement families; words as in the native format. */
enum record_kind {
    RECORD_AUTOREFRACTION,
    RECORD_LENSOMETRY,
    RECORD_KERATOMETRY,
    RECORD_SUBJECTIVE,
    RECORD_ACUITY,
    RECORD_RETINOSCOPY,
    RECORD_OVER_REFRACTION
};
#define RECORD_KINDS 7

enum record_yes { RECORD_UNSAID, RECORD_NO, RECORD_YES };

/* One of several shots of one eye. */
struct record_repeat {
    struct optics_rx power;
    struct record_sent sent;
    int32_t confidence_e2; /* hundredths; as the instrument gave it */
};

/* Which figures the eye's power was taken from. */
enum record_source {
    RECORD_FROM_NOTHING, /* no power in this reading */
    RECORD_FROM_SENDER,  /* the one power, or the representative one */
    RECORD_FROM_MEAN,    /* mean of the repeats, rounded to hundredths */
    RECORD_FROM_NET      /* sender's or mean, working distance removed */
};

/* An addition and the viewing distance that it is for. */
struct record_add {
    int32_t power_cd;
    int32_t at_mm;
};

struct record_reading_eye {
    bool here;
    enum record_lens lens;

    enum record_source source;
    struct optics_rx power;      /* good unless source says nothing */
    struct record_sent sent;     /* representative or single, as it came */
    struct optics_vector vector; /* of power */
    size_t n_repeats;
    struct record_repeat *repeats;
    struct optics_mean mean; /* of the repeats, if there are any */
    struct optics_rx gross;  /* before the working distance was removed */

    struct record_add add, intermediate_add, second_add;
    int32_t near_total_cd; /* when the sender gave that, add is computed */
    struct record_prism prism, near_prism;
    struct record_acuity acuity, near_acuity;
    struct record_cornea cornea;

    const char *lens_type; /* a word of RECORD_LENS_TYPES, or NULL */
    int32_t pupil_mm100, cornea_mm100; /* widths, horizontal */
    int32_t transmittance_e2;          /* hundredths of a percent */
    int32_t channel_mm100;             /* progressive corridor */
};

struct record_device {
    const char *serial, *model, *manufacturer, *software;
};

/* Whom the sender says it measured; any of these may be NULL. */
struct record_patient_ref {
    bool here;
    const char *id; /* a UUID in lower case */
    const char *record_number;
    const char *issuer; /* who gave the record number (DICOM) */
    const char *family, *given;
    const char *born; /* FHIR date: a year, year-month or day */
};

struct record_condition {
    bool here;
    enum record_yes cycloplegic;
    const char *drug;
    int32_t minutes_since;
    const char *lens_worn; /* "none", or which */
    int32_t test_distance_mm;
};

/* What the sender says about the glasses that were measured. */
struct record_pair {
    const char *label;
    const char *purpose; /* a word of RECORD_PURPOSES */
    const char *made_on; /* FHIR date */
    enum record_yes worn;
};

/* That somebody elsewhere prescribed what stands here. */
struct record_prescription {
    bool here;
    const char *by; /* a name, or NULL */
    enum record_yes verified;
};

/* Identifiers of a DICOM instance. */
struct record_dicom {
    const char *sop_class, *sop_instance, *series, *study;
};

/* A doubt that never blocks. */
struct record_caution {
    struct record_caution *next;
    const char *code; /* a stable word */
    int side;         /* enum record_side, or -1: the whole reading */
    const char *text;
};

struct record_reading {
    struct arena *arena; /* borrowed; owns every text below */
    enum record_kind kind;
    int64_t taken_us; /* microseconds since 1970 */
    int taken_offset_min;
    bool offset_assumed; /* the payload gave a local time only */
    struct record_device device;
    struct record_patient_ref patient;
    struct record_condition condition;

    int32_t vertex_mm100;
    bool vertex_assumed;
    const char *vertex_place; /* where it was found, if not at the top */

    bool working_removed;        /* retinoscopy */
    int32_t working_mm;          /* retinoscopy, when not removed */
    const char *acuity_with;     /* acuity: a word of RECORD_ACUITY_WITH */
    const char *acuity_distance; /* acuity: far, intermediate or near */

    struct record_pd pd;
    const char *lens_type; /* lensometry: of both lenses */
    struct record_pair pair;
    struct record_prescription prescription; /* subjective only */
    struct record_dicom dicom;
    const char *comment;

    struct record_reading_eye eyes[RECORD_SIDES]; /* by enum record_side */
    struct record_caution *cautions;
    struct record_caution **cautions_end;
    size_t n_cautions;
};

/* Word lists, NULL-ended. */
extern const char *const RECORD_KIND_WORDS[];
extern const char *const RECORD_LENS_TYPES[];
extern const char *const RECORD_ACUITY_WITH[];
extern const char *const RECORD_DISTANCES[];

/* A reading with everything absent. */
struct record_reading *record_reading_new(struct arena *arena);

/*
 * Computes what follows from the figures: power of each eye, M, J0, J45, mean
 * and spread, net of the working distance, the missing one of radius and
 * power of a meridian.  A decoder calls it last, before the cautions.
 */
void record_reading_compute(struct record_reading *reading);

/*
 * A short stable word for kind and condition: readings with equal keys may
 * stand in one mean, trend or delta.  kind, then for a refraction "dry",
 * "cycloplegic" or "unsaid", then the lens worn, if any:
 * "autorefraction/dry", "over-refraction/unsaid/trial scleral lens"; for
 * acuity distance and correction: "acuity/far/habitual"; a prescription from
 * elsewhere is "subjective/prescription".  In arena.
 */
const char *record_reading_key(const struct record_reading *reading);
const char *record_condition_key(struct arena *arena, enum record_kind kind,
    const struct record_condition *condition);

/* True when a reading of this kind holds powers: not keratometry or acuity. */
bool record_kind_refracts(enum record_kind kind);

/* The power of a working distance, hundredths of a dioptre: 667 mm, 150. */
int32_t record_working_cd(int32_t mm);
