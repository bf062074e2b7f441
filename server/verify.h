#pragma once
/*
 * verify.h - the command verify: is what a file holds signed as it stands.
 *
 * Needs no service, database or configuration.
 */

/* argv[0] is verify.  The exit code: 0 the signature is good, 1 it isn't, 2 it
 * can't be told; one line on standard output says which and why. */
int verify_main(int argc, char **argv);

#define VERIFY_USAGE                                                           \
    "usage: lensclerkd verify FILE --keys FILE\n"                              \
    "\n"                                                                       \
    "Tells if a signed prescription, an order as its lab was told it, or "     \
    "the\n"                                                                    \
    "text of an order's square code is as it was signed. The keys are what\n"  \
    "/v1/keys or /.well-known/rx-keys/ID answered: get them from whom you\n"   \
    "trust, not from where the file came. Exit code 0: good, 1: not good,\n"   \
    "2: it can't be told.\n"
