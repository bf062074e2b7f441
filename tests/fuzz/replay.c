/*
 * Replays a corpus through a fuzz target without a fuzzer: each file as it
 * is, cut at twenty places, and with a byte changed at sixty.  The changes are
 * the same in every run.
 */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#define FILE_MAX (1 << 20)
#define CUTS 20
#define CHANGES 60

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t len);

/* A copy of exactly len bytes, so that reading one more is seen. */
static void run(const uint8_t *bytes, size_t len, size_t change, uint8_t with)
{
    uint8_t *copy = malloc(len ? len : 1);

    if (!copy)
        exit(2);
    memcpy(copy, bytes, len);
    if (change < len)
        copy[change] = with;
    LLVMFuzzerTestOneInput(copy, len);
    free(copy);
}

static void replay(const uint8_t *bytes, size_t len)
{
    static const char with[] = "\"{}[],:-0e9\\nt\x80";
    uint32_t random = 20260302;

    run(bytes, len, SIZE_MAX, 0);
    for (size_t i = 0; i < CUTS; i++)
        run(bytes, len * i / CUTS, SIZE_MAX, 0);
    for (size_t i = 0; i < CHANGES && len; i++) {
        random = random * 1664525 + 1013904223;
        run(bytes, len, (random >> 8) % len,
            (uint8_t)with[random % sizeof(with)]);
    }
}

int main(int argc, char **argv)
{
    static uint8_t bytes[FILE_MAX];

    if (argc < 2) {
        fprintf(stderr, "usage: %s FILE...\n", argv[0]);
        return 2;
    }
    for (int i = 1; i < argc; i++) {
        FILE *f = fopen(argv[i], "rb");

        if (!f) {
            perror(argv[i]);
            return 2;
        }
        replay(bytes, fread(bytes, 1, sizeof(bytes), f));
        fclose(f);
    }
    printf("%d files\n", argc - 1);
    return 0;
}
