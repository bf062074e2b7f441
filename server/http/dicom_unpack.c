#include "http/dicom_unpack.h"

#include "base/child.h"

/* An instance of measurements takes 30 ms, 20 MiB and 10 kB. */
static const struct child_limits LIMITS = {
    .cpu_s = 4, .wall_ms = 8000, .memory = 256 << 20, .output_max = 4 << 20};

/* Files only, no data set without its header; without blanks. */
static const char *const ARGS[] = {"-q", "+fo", "-fc", "-", NULL};
static const struct child_program DCM2JSON = {"dcm2json", ARGS};

enum rc http_dicom_unpack(
    const char *bytes, size_t len, struct text *ret, struct err *err)
{
    switch (child_run(&DCM2JSON, &LIMITS, bytes, len, ret)) {
    case CHILD_OK:
        return RC_OK;
    case CHILD_MISSING:
        return err_set(err, RC_BUSY, NULL,
            "DICOM files can't be read: dcm2json (package dcmtk) isn't "
            "installed on the server; DICOM JSON can");
    case CHILD_UNABLE:
        return err_set(err, RC_BUSY, NULL,
            "DICOM files can't be read now: no child process can be started");
    case CHILD_SLOW:
        return err_set(err, RC_INVALID, "",
            "takes longer to read than a file of measurements may");
    case CHILD_LONG:
        return err_set(err, RC_INVALID, "",
            "holds more than %zu bytes of DICOM JSON", LIMITS.output_max);
    default:
        return err_set(err, RC_SYNTAX, "",
            "can't be read as a DICOM file (PS3.10): it is cut off or broken, "
            "holds no finite number where one must be, or is too large");
    }
}
