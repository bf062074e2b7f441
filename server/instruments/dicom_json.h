#pragma once
/*
 * instruments/dicom_json.h - DICOM ophthalmic refractive measurements
 * (Supplement 130: lensometry, autorefraction, keratometry, subjective
 * refraction, visual acuity) in the DICOM JSON model.
 */
#include <stdbool.h>
#include <stddef.h>

#include "base/err.h"
#include "instruments/format.h"

bool instruments_dicom_probe(const char *bytes, size_t len);

/* An instance that stands or falls alone. */
struct instruments_dicom_one {
    const char *sop_class, *sop_instance, *study; /* NULL: not readable */
    struct record_reading *reading;               /* NULL: refused */
    struct err err;                               /* every fault of it */
};

/* One instance, or an array of them, in err's arena.  Not RC_OK: not even
 * DICOM JSON, or more than INSTRUMENTS_READINGS_MAX. */
enum rc instruments_dicom_each(const struct instruments_input *in,
    struct instruments_dicom_one **ret, size_t *ret_n, struct err *err);

/* True when instances of this class are taken. */
bool instruments_dicom_takes(const char *sop_class);

/* One instance, or an array of them, all or nothing; each is a reading. */
enum rc instruments_dicom_decode(const struct instruments_input *in,
    struct instruments_readings *ret, struct err *err);
