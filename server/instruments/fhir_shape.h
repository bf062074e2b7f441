#pragma once
/*
 * instruments/fhir_shape.h - inside this folder: which elements a FHIR R4
 * resource may have, and of which type.
 */
#include "base/json_in.h"

enum fhir_type {
    FHIR_ANYTHING, /* an object that isn't looked into */
    FHIR_TEXT,
    FHIR_CODE,
    FHIR_BOOLEAN,
    FHIR_DECIMAL,
    FHIR_INTEGER,
    FHIR_DATE_TIME,
    FHIR_DATE,
    /* with elements of their own: */
    FHIR_VISION_PRESCRIPTION,
    FHIR_OBSERVATION,
    FHIR_PATIENT,
    FHIR_DEVICE,
    FHIR_BUNDLE,
    FHIR_LENS,
    FHIR_PRISM,
    FHIR_COMPONENT,
    FHIR_DEVICE_NAME,
    FHIR_DEVICE_VERSION,
    FHIR_ENTRY,
    FHIR_IDENTIFIER,
    FHIR_REFERENCE,
    FHIR_CONCEPT,
    FHIR_CODING,
    FHIR_QUANTITY,
    FHIR_PERIOD,
    FHIR_ANNOTATION,
    FHIR_NAME
};

/*
 * Adds a fault for each element of in that its type doesn't know, that is of
 * a wrong type, or that is required and missing.  Extensions are passed over;
 * what would change the meaning of the rest (modifierExtension,
 * implicitRules) is a fault, because it isn't understood here.
 */
bool fhir_shape_check(struct json_in in, enum fhir_type type);

/* The word of resourceType, or NULL after a fault. */
const char *fhir_resource_type(struct json_in in);
