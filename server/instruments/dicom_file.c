#include "instruments/dicom_file.h"

#include <string.h>

#include "base/text.h"
#include "instruments/dicom_json.h"

#define PREAMBLE 128

bool instruments_dicom_file_probe(const char *bytes, size_t len)
{
    return len >= PREAMBLE + 4 && memcmp(bytes + PREAMBLE, "DICM", 4) == 0;
}

enum rc instruments_dicom_file_decode(const struct instruments_input *in,
    struct instruments_readings *ret, struct err *err)
{
    TEXT_AUTO json = {0};
    struct instruments_input as_json = *in;

    if (!instruments_dicom_file_probe(in->bytes, in->len))
        return err_set(err, RC_SYNTAX, "",
            "is no DICOM file (PS3.10): there is no DICM behind a preamble of "
            "%d bytes",
            PREAMBLE);
    if (!in->unpack)
        return err_set(err, RC_SYNTAX, "", "DICOM files can't be read here");
    TRY(in->unpack(in->bytes, in->len, &json, err));
    as_json.bytes = json.data ? json.data : "";
    as_json.len = json.len;
    return instruments_dicom_decode(&as_json, ret, err);
}
