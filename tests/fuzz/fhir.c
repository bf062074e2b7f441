#include "reading_target.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t len);

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t len)
{
    reading_target("application/fhir+json", bytes, len);
    return 0;
}
