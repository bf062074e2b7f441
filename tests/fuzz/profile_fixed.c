#include "profile_target.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t len);

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t len)
{
    profile_target("fixed-columns", bytes, len);
    return 0;
}
