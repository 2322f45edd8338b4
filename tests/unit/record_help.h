/* SPDX-License-Identifier: Apache-2.0 */
/* record_help.h - what the tests of the record room share: a folder, tools from outside, notes. */
#ifndef TEST_RECORD_HELP_H
#define TEST_RECORD_HELP_H

#include <stdarg.h>
#include <stddef.h>
#include <setjmp.h>
#include <cmocka.h>
#include <dirent.h>
#include <fcntl.h>
#include <inttypes.h>
#include <sodium.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "../../daemon/record/writer_internal.h"

#define BUS "bus-7"

struct folder {
	char path[64];
};

/* A key of our own, always the same. */
static inline const struct pw_secret_key *fixed_key(void)
{
	static struct pw_secret_key key;

	assert_true(sodium_init() >= 0);
	crypto_sign_seed_keypair(key.public.bytes, key.bytes,
				 (const unsigned char *)"a seed of thirty-two characters.");
	return &key;
}

/* The first line that a command writes, without its end. */
__attribute__((format(printf, 3, 4)))
static inline void ask(char *answer, size_t size, const char *format, ...)
{
	char command[4096];
	va_list args;
	FILE *pipe;

	va_start(args, format);
	vsnprintf(command, sizeof(command), format, args);
	va_end(args);
	pipe = popen(command, "r");
	assert_non_null(pipe);
	answer[0] = '\0';
	if (fgets(answer, (int)size, pipe) == NULL)
		answer[0] = '\0';
	answer[strcspn(answer, "\n")] = '\0';
	pclose(pipe);
}

__attribute__((format(printf, 1, 2)))
static inline int run(const char *format, ...)
{
	char command[4096];
	va_list args;

	va_start(args, format);
	vsnprintf(command, sizeof(command), format, args);
	va_end(args);
	return system(command);
}

static inline void folder_make(struct folder *f)
{
	const char *base = getenv("TMPDIR");

	snprintf(f->path, sizeof(f->path), "%.40s/record-XXXXXX", base != NULL ? base : "/tmp");
	assert_non_null(mkdtemp(f->path));
}

static inline void folder_remove(const struct folder *f)
{
	assert_int_equal(run("rm -rf '%s'", f->path), 0);
}

static inline int with_folder(void **state)
{
	struct folder *f = calloc(1, sizeof(*f));

	folder_make(f);
	*state = f;
	return 0;
}

static inline int without_folder(void **state)
{
	folder_remove(*state);
	free(*state);
	return 0;
}

static inline const char *in(const struct folder *f, const char *name)
{
	static char path[8][128];
	static unsigned turn;
	char *p = path[turn++ % 8];

	snprintf(p, sizeof(path[0]), "%s/%s", f->path, name);
	return p;
}

static inline bool exists(const struct folder *f, const char *name)
{
	return access(in(f, name), F_OK) == 0;
}

static inline void write_file(const char *path, const char *text)
{
	FILE *file = fopen(path, "w");

	assert_non_null(file);
	fputs(text, file);
	fclose(file);
}

/* A record that can be told from every other by its number. */
static inline struct pw_note numbered(int64_t number)
{
	return (struct pw_note){
		.version = PW_NOTE_VERSION, .kind = PW_K_EXCUSED, .mono_ms = number,
		.wall_ms = 1790000000000 + number, .wall_ok = 1, .of.excused.at_ms = number,
	};
}

static inline struct pw_state phase(enum pw_phase phase)
{
	return (struct pw_state){ .phase = phase, .sweep.rung = PW_SIGNAL_NONE };
}

/* A sweep that was walked as it should be: our own figures. */
static inline struct pw_note walked(int64_t key_off_ms)
{
	struct pw_note n = {
		.version = PW_NOTE_VERSION, .kind = PW_K_SWEEP, .mono_ms = key_off_ms + 45000,
		.wall_ms = 1790000000000 + key_off_ms + 45000, .wall_ok = 1,
	};

	n.of.sweep.sweep = (struct pw_sweep){
		.t0_ms = key_off_ms, .press_ms = key_off_ms + 30000,
		.exit_ms = key_off_ms + 45000, .closed_ms = key_off_ms + 45000,
		.verdict = PW_DONE,
	};
	strcpy(n.of.sweep.rung, "prompt");
	return n;
}

/* The whole chain, seq by seq; the count of records. */
static inline uint64_t assert_chain(const struct folder *f)
{
	char why[256] = "", prev[65], hash[65];
	struct pw_journal *j;
	struct pw_record r;
	uint64_t seq = 0;
	int given;

	if (pw_journal_open(in(f, "journal.db"), NULL, false, &j, why, sizeof(why)) != 0)
		fail_msg("%s", why);
	memcpy(prev, PW_CHAIN_ORIGIN, sizeof(prev));
	while ((given = pw_journal_read(j, seq + 1, &r, why, sizeof(why))) == 1) {
		pw_record_hash(pw_journal_bus(j), &r, hash);
		assert_int_equal(r.seq, seq + 1);
		assert_string_equal(r.prev, prev);
		assert_string_equal(r.hash, hash);
		memcpy(prev, hash, sizeof(prev));
		seq = r.seq;
	}
	if (given < 0)
		fail_msg("%s", why);
	pw_journal_close(j);
	return seq;
}

#endif
