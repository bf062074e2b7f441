#pragma once
/*
 * admin.h - the commands network, user and device: what the operator makes
 * before anybody can sign in.
 */
struct config;

/* argv[0] is network, user or device.  The exit code: 0 done, 1 it couldn't be
 * done, 2 the command is wrong; messages go to standard error, ids of what was
 * made to standard output. */
int admin_main(const struct config *c, int argc, char **argv);
