#pragma once
/*
 * instruments/dicom_head.h - inside this folder: what every measurement
 * instance has around its measurements.
 */
#include "base/json_in.h"
#include "instruments/format.h"
#include "record/reading.h"

/* Identifiers, device, patient and time; adds every fault. */
void dicom_head_read(struct json_in set, const struct instruments_zone *zone,
    struct record_reading *reading);

/* A person's name for people to read: Family^Given^^Dr becomes "Given Family"
 * with its prefix before and its suffix behind; in arena. */
const char *dicom_name_words(struct arena *arena, const char *pn);

/*
 * Which sides the instance says it holds against those that it does hold.
 * The laterality rules of PS3.3 C.8.25.5 and C.8.25.8 (as read in a machine-
 * made table of its 2016 edition, and C.8.25.8 in 2024c).
 */
void dicom_laterality_check(
    struct json_in set, const struct record_reading *reading);
