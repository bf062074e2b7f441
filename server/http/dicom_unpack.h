#pragma once
/*
 * http/dicom_unpack.h - DICOM files become DICOM JSON by dcm2json of dcmtk, a
 * confined child (base/child.h).  Blocks: for http_program_work.
 */
#include "base/err.h"
#include "base/text.h"

/* An instruments_unpack.  RC_SYNTAX: no such file; RC_INVALID: it takes more
 * than a file of measurements may; RC_BUSY: it can't be read now. */
enum rc http_dicom_unpack(
    const char *bytes, size_t len, struct text *ret, struct err *err);
