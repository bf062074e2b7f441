#pragma once
/*
 * instruments/dicom_file.h - DICOM files (PS3.10): turned to DICOM JSON by the
 * caller's unpack, then read as that.
 */
#include <stdbool.h>
#include <stddef.h>

#include "base/err.h"
#include "instruments/format.h"

/* The preamble of 128 bytes and DICM behind it. */
bool instruments_dicom_file_probe(const char *bytes, size_t len);

/* One instance.  Faults have their place in its DICOM JSON. */
enum rc instruments_dicom_file_decode(const struct instruments_input *in,
    struct instruments_readings *ret, struct err *err);
