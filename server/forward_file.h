#pragma once
/*
 * forward_file.h - files that stay, for lensclerk-forward.
 *
 * Functions that fail leave errno.  One thread.
 */
#include <stdbool.h>
#include <stddef.h>
#include <sys/types.h>

/* All of len bytes at offset at. */
bool forward_file_write(int fd, const void *bytes, size_t len, off_t at);

/* Opens the folder, making it (mode 0700) where there is none; -1 on failure.
 * dir_fd may be AT_FDCWD. */
int forward_file_folder(int dir_fd, const char *path);

/* A whole file in a folder, durable with its name, or none under that name. */
bool forward_file_put(
    int dir_fd, const char *name, const void *bytes, size_t len);

/* The rest of from_fd, from its present place on, likewise. */
bool forward_file_copy(int dir_fd, const char *name, int from_fd);

/* True when both hold the same from these offsets to their ends. */
bool forward_file_same(int a_fd, off_t a_at, int b_fd, off_t b_at);
