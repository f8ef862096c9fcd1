/* A disk that is slow or full, for one folder, as long as a file says so; to be preloaded (LD_PRELOAD).
 *
 * DISK_FOLDER: below it. DISK_CONTROL: a folder; while there is a file `full` in it, nothing more can be written
 * (ENOSPC); while there is a file `slow`, each fsync takes as many milliseconds longer as its text says.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/types.h>
#include <unistd.h>

static int said(const char *name, int *number) {
    const char *control = getenv("DISK_CONTROL");
    char path[4096], text[32] = "";
    if (control == NULL) return 0;
    snprintf(path, sizeof path, "%s/%s", control, name);
    int opened = open(path, O_RDONLY | O_CLOEXEC);
    if (opened < 0) return 0;
    if (number != NULL && read(opened, text, sizeof text - 1) > 0) *number = atoi(text);
    close(opened);
    return 1;
}

static int below(int descriptor) {
    const char *folder = getenv("DISK_FOLDER");
    char link[64], path[4096];
    if (folder == NULL) return 0;
    snprintf(link, sizeof link, "/proc/self/fd/%d", descriptor);
    ssize_t length = readlink(link, path, sizeof path - 1);
    if (length < 0) return 0;
    path[length] = 0;
    return strncmp(path, folder, strlen(folder)) == 0;
}

static int full(int descriptor) { return said("full", NULL) && below(descriptor); }

static void wait_for(int descriptor) {
    int milliseconds = 0;
    if (said("slow", &milliseconds) && below(descriptor)) usleep(1000 * milliseconds);
}

#define REAL(name) ((__typeof__(&name))dlsym(RTLD_NEXT, #name))
#define NO_ROOM { errno = ENOSPC; return -1; }

ssize_t write(int descriptor, const void *data, size_t size) {
    if (full(descriptor)) NO_ROOM
    return REAL(write)(descriptor, data, size);
}
ssize_t pwrite(int descriptor, const void *data, size_t size, off_t place) {
    if (full(descriptor)) NO_ROOM
    return REAL(pwrite)(descriptor, data, size, place);
}
ssize_t pwrite64(int descriptor, const void *data, size_t size, off64_t place) {
    if (full(descriptor)) NO_ROOM
    return REAL(pwrite64)(descriptor, data, size, place);
}
int posix_fallocate(int descriptor, off_t place, off_t size) {
    if (full(descriptor)) return ENOSPC;
    return REAL(posix_fallocate)(descriptor, place, size);
}
int fsync(int descriptor) {
    wait_for(descriptor);
    return REAL(fsync)(descriptor);
}
int fdatasync(int descriptor) {
    wait_for(descriptor);
    return REAL(fdatasync)(descriptor);
}
