#pragma once
/* admin.h - commands that make networks, users and devices. */
struct config;

/* argv[0] is network, user or device; the exit code. */
int admin_main(const struct config *c, int argc, char **argv);
