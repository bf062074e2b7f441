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

/* One instance, or an array of them, all or nothing; each is a reading. */
enum rc instruments_dicom_decode(const struct instruments_input *in,
    struct instruments_readings *ret, struct err *err);
