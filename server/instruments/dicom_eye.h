#pragma once
/*
 * instruments/dicom_eye.h - inside this folder: the item of one side of a
 * measurement instance.
 */
#include "base/json_in.h"
#include "record/reading.h"

/* Each reads item into reading's eye of side and adds every fault.  Lensometry,
 * autorefraction and subjective refraction are powers. */
void dicom_power_read(
    struct json_in item, enum record_side side, struct record_reading *reading);
void dicom_cornea_read(
    struct json_in item, enum record_side side, struct record_reading *reading);
void dicom_acuity_read(
    struct json_in item, enum record_side side, struct record_reading *reading);

/* Vertex Distance (0022,000F) of set, mm, if it is there: 2024b placed it in
 * the prism sequence, 2024c corrected that; both are met. */
void dicom_vertex_read(struct json_in set, struct record_reading *reading);
