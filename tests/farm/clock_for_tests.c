/* A clock that can be set: preloaded, it adds the seconds found in a file to the time of day. */
#define _GNU_SOURCE
#include <fcntl.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <sys/syscall.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

static volatile const long *offset_s;

__attribute__((constructor)) static void open_offset(void) {
  const char *path = getenv("GLIMSUM_TEST_CLOCK");
  int file = path ? open(path, O_RDONLY | O_CLOEXEC) : -1;
  if (file < 0) return;
  void *page = mmap(NULL, sizeof(long), PROT_READ, MAP_SHARED, file, 0);
  if (page != MAP_FAILED) offset_s = page;
  close(file);
}

int clock_gettime(clockid_t clock, struct timespec *now) {
  int failed = syscall(SYS_clock_gettime, clock, now);
  if (!failed && offset_s && (clock == CLOCK_REALTIME || clock == CLOCK_REALTIME_COARSE))
    now->tv_sec += *offset_s;
  return failed;
}

int gettimeofday(struct timeval *now, void *zone) {
  struct timespec precise;
  (void)zone;
  clock_gettime(CLOCK_REALTIME, &precise);
  now->tv_sec = precise.tv_sec;
  now->tv_usec = precise.tv_nsec / 1000;
  return 0;
}

time_t time(time_t *now) {
  struct timespec precise;
  clock_gettime(CLOCK_REALTIME, &precise);
  if (now) *now = precise.tv_sec;
  return precise.tv_sec;
}
