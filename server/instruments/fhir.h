#pragma once
/*
 * instruments/fhir.h - HL7 FHIR R4: VisionPrescription and Observation, alone
 * or in a Bundle.
 */
#include "instruments/format.h"

bool instruments_fhir_probe(const char *bytes, size_t len);
enum rc instruments_fhir_decode(const struct instruments_input *in,
    struct instruments_readings *ret, struct err *err);
