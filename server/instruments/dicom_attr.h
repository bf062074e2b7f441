#pragma once
/*
 * instruments/dicom_attr.h - inside this folder: attributes of a data set in
 * the DICOM JSON model (PS3.18 Annex F).
 *
 * A data set is an object of tags ("00460146"), each {"vr", "Value": [...]}.
 * Readers return true and write *ret only when a good value stands there, add
 * a fault when a wrong one does, and none when nothing does.  A tag whose
 * shape isn't the model's is a fault, never taken for absent.
 */
#include "base/json_in.h"

/* How many values the tag has; 0 when it is absent or empty. */
size_t dicom_count(struct json_in set, const char *tag);

/* The i-th value. */
struct json_in dicom_value(struct json_in set, const char *tag, size_t i);

/* True when the tag has a value; else the fault "is required (keyword)". */
bool dicom_need(struct json_in set, const char *tag, const char *keyword);

/* The one item of a sequence.  A sequence that is present must have one. */
bool dicom_item(struct json_in set, const char *tag, struct json_in *ret);

/* The first value as text, padding cut, in err's arena; empty is absent. */
bool dicom_text(
    struct json_in set, const char *tag, size_t max, const char **ret);

/* The one value as one of words (NULL-ended); *ret is its index. */
bool dicom_word(
    struct json_in set, const char *tag, const char *const words[], int *ret);

/* The one value in range, to the nearest 10^-places. */
bool dicom_scaled(struct json_in set, const char *tag, int places,
    const double range[2], int32_t *ret);
bool dicom_number(
    struct json_in set, const char *tag, const double range[2], double *ret);
