#pragma once
/*
 * http/dicom_out.h - elements of a data set in the DICOM JSON model (PS3.18,
 * annex F).  The caller writes them in the order of their tags.
 */
#include "base/json_out.h"

/* One text; NULL: the element is there and empty. */
void dicom_out_text(
    struct json_out *o, const char *tag, const char *vr, const char *text);
void dicom_out_int(
    struct json_out *o, const char *tag, const char *vr, int64_t value);
/* A person's name in its alphabetic form; NULL: empty. */
void dicom_out_name(struct json_out *o, const char *tag, const char *name);

/* A sequence whose items the caller writes as objects, to be closed. */
void dicom_out_sequence(struct json_out *o, const char *tag);
void dicom_out_sequence_end(struct json_out *o);

/* The one item of a sequence that is a code. */
void dicom_out_code(struct json_out *o, const char *tag, const char *scheme,
    const char *value, const char *meaning);
