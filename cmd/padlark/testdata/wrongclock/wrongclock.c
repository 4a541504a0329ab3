// A library to be preloaded into a user-mode emulator, whose system calls go
// through the C library: the program inside then lives on a computer whose
// clock is wrong. CLOCK_REALTIME is the real one plus an offset, and the kernel
// says of it that it is synchronised or not, as the file named by WRONG_CLOCK
// says, which another process changes at any moment: two int64 in the order of
// the machine, the offset in ns, and 1 for synchronised. Monotonic clocks stay.
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <stdint.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <sys/time.h>
#include <sys/timex.h>
#include <time.h>

// at is looked up at the first call, which may come before any constructor.
static const int64_t *at(void) {
	static const int64_t *found;
	if (!found) {
		int fd = open(getenv("WRONG_CLOCK"), O_RDONLY);
		void *p = fd < 0 ? MAP_FAILED : mmap(NULL, 2 * sizeof *found, PROT_READ, MAP_SHARED, fd, 0);
		if (p == MAP_FAILED)
			abort();
		found = p;
	}
	return found;
}

int clock_gettime(clockid_t clock, struct timespec *t) {
	static int (*real)(clockid_t, struct timespec *);
	if (!real)
		real = (int (*)(clockid_t, struct timespec *))dlsym(RTLD_NEXT, "clock_gettime");
	int err = real(clock, t);
	if (err || clock != CLOCK_REALTIME && clock != CLOCK_REALTIME_COARSE)
		return err;
	int64_t ns = (int64_t)t->tv_sec * 1000000000 + t->tv_nsec + __atomic_load_n(at(), __ATOMIC_RELAXED);
	t->tv_sec = ns / 1000000000;
	t->tv_nsec = ns % 1000000000;
	return 0;
}

int gettimeofday(struct timeval *t, void *zone) {
	struct timespec now;
	int err = clock_gettime(CLOCK_REALTIME, &now);
	(void)zone;
	t->tv_sec = now.tv_sec;
	t->tv_usec = now.tv_nsec / 1000;
	return err;
}

time_t time(time_t *out) {
	struct timespec now;
	clock_gettime(CLOCK_REALTIME, &now);
	if (out)
		*out = now.tv_sec;
	return now.tv_sec;
}

int adjtimex(struct timex *x) {
	static int (*real)(struct timex *);
	if (!real)
		real = (int (*)(struct timex *))dlsym(RTLD_NEXT, "adjtimex");
	int state = real(x);
	x->status = __atomic_load_n(at() + 1, __ATOMIC_RELAXED) ? x->status & ~STA_UNSYNC : x->status | STA_UNSYNC;
	return state;
}
