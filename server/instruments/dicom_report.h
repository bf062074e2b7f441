#pragma once
/*
 * instruments/dicom_report.h - inside this folder: a Spectacle Prescription
 * Report (TID 2020 and 2021 of PS3.16): what somebody prescribed, elsewhere.
 */
#include "base/json_in.h"
#include "record/reading.h"

/* Reads set into a subjective refraction that is a prescription; adds every
 * fault.  The old codes (SRT) are taken beside the present ones (SCT). */
void dicom_report_read(struct json_in set, struct record_reading *reading);
