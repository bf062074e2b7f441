#include "http/dicom_out.h"

#include <stddef.h>

static void begin(struct json_out *o, const char *tag, const char *vr)
{
    json_out_object(o, tag);
    json_out_text(o, "vr", vr);
}

void dicom_out_text(
    struct json_out *o, const char *tag, const char *vr, const char *text)
{
    begin(o, tag, vr);
    if (text && *text) {
        json_out_array(o, "Value");
        json_out_text(o, NULL, text);
        json_out_array_end(o);
    }
    json_out_object_end(o);
}

void dicom_out_int(
    struct json_out *o, const char *tag, const char *vr, int64_t value)
{
    begin(o, tag, vr);
    json_out_array(o, "Value");
    json_out_int(o, NULL, value);
    json_out_array_end(o);
    json_out_object_end(o);
}

void dicom_out_name(struct json_out *o, const char *tag, const char *name)
{
    begin(o, tag, "PN");
    if (name && *name) {
        json_out_array(o, "Value");
        json_out_object(o, NULL);
        json_out_text(o, "Alphabetic", name);
        json_out_object_end(o);
        json_out_array_end(o);
    }
    json_out_object_end(o);
}

void dicom_out_sequence(struct json_out *o, const char *tag)
{
    begin(o, tag, "SQ");
    json_out_array(o, "Value");
}

void dicom_out_sequence_end(struct json_out *o)
{
    json_out_array_end(o);
    json_out_object_end(o);
}

void dicom_out_code(struct json_out *o, const char *tag, const char *scheme,
    const char *value, const char *meaning)
{
    dicom_out_sequence(o, tag);
    json_out_object(o, NULL);
    dicom_out_text(o, "00080100", "SH", value);
    dicom_out_text(o, "00080102", "SH", scheme);
    dicom_out_text(o, "00080104", "LO", meaning);
    json_out_object_end(o);
    dicom_out_sequence_end(o);
}
