/* SPDX-License-Identifier: Apache-2.0 */
/*
 * shim.h - a disk that fails under the real programs. shim.so is preloaded (ld.so(8), LD_PRELOAD)
 * into postwalkd, so that the writer that it forks has it too; it stands between the writer and
 * the kernel for the files of the state folder, and does there what this page of shared memory,
 * the file $POSTWALK_SHIM, tells it. Every other process and every other file is let through.
 *
 * A call is counted when it has the disk write something, and the disk could answer it by the error
 * in question (POSIX.1-2017, and Linux man-pages for what POSIX leaves open): EIO by every one of
 * them; ENOSPC not by unlink(2) and ftruncate(2). To open what is there, and to take away what is
 * not, writes nothing. Only syncs are counted for a stall.
 *
 * What a sync refused may never reach the disk, whatever a later sync says (fsync(2), EIO): those
 * bytes are remembered as lost until they are written again and synced. A test that wants to see
 * the disk as it is after the power went puts zeros in their place.
 */
#ifndef TEST_FAULTS_SHIM_H
#define TEST_FAULTS_SHIM_H

#include <stdatomic.h>
#include <stdbool.h>
#include <stdint.h>
#include <sys/types.h>

#define SHIM_BLOCK 4096 /* a write stops short at the end of one when there is no space */
#define SHIM_CALLS 1024 /* of which the log tells */
#define SHIM_FILES 24
#define SHIM_RANGES 64
#define SHIM_NAME 40

struct shim_call {
	char what[12];         /* "fdatasync" */
	char name[SHIM_NAME];  /* of the file, within the state folder; "." that itself */
	bool struck;
};

struct shim_range {
	int64_t from, to;
};

struct shim_ranges {
	unsigned count;
	struct shim_range at[SHIM_RANGES];
};

struct shim_file {
	char name[SHIM_NAME]; /* "": free */
	struct shim_ranges written, lost; /* since the last sync; by a sync that failed */
};

struct shim {
	char dir[96]; /* the state folder's path, absolute */

	/* told by the test; nth is set last */
	atomic_int error;     /* EIO, ENOSPC; 0 with stall_ms */
	atomic_int stall_ms;  /* how long a sync takes */
	atomic_bool for_good; /* the n-th call and every one after it */
	atomic_int nth;       /* counted from 1; 0: the disk is well */

	/* told by the shim */
	atomic_int calls;     /* counted since nth was set */
	atomic_int struck;    /* of them: failed, stopped short, or stalled */
	atomic_llong struck_ms; /* when the first was; CLOCK_BOOTTIME */
	atomic_int reused;    /* writes to a log through a descriptor whose sync had failed (J7) */
	atomic_bool full;     /* too much to remember: the lost ranges are not all */
	struct shim_call call[SHIM_CALLS];
	struct shim_file file[SHIM_FILES];
};

#endif
