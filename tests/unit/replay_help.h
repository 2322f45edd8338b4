/* SPDX-License-Identifier: Apache-2.0 */
/* replay_help.h - runs `postwalk replay` (the program named by POSTWALK) over files made for it. */
#ifndef TEST_REPLAY_HELP_H
#define TEST_REPLAY_HELP_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>
#include <cmocka.h>

#define COUNT(a) (sizeof(a) / sizeof((a)[0]))

struct ran {
	int status;
	char out[1 << 16], err[4096];
};

struct files {
	char folder[64], trace[80], conf[80], out[80], err[80];
};

static inline void files_make(struct files *f)
{
	snprintf(f->folder, sizeof(f->folder), "/tmp/postwalk-test.XXXXXX");
	assert_non_null(mkdtemp(f->folder));
	snprintf(f->trace, sizeof(f->trace), "%s/t", f->folder);
	snprintf(f->conf, sizeof(f->conf), "%s/c", f->folder);
	snprintf(f->out, sizeof(f->out), "%s/out", f->folder);
	snprintf(f->err, sizeof(f->err), "%s/err", f->folder);
}

static inline void files_remove(const struct files *f)
{
	unlink(f->trace);
	unlink(f->conf);
	unlink(f->out);
	unlink(f->err);
	assert_int_equal(rmdir(f->folder), 0);
}

static inline void file_write_bytes(const char *path, const char *text, size_t n)
{
	FILE *f = fopen(path, "w");

	assert_non_null(f);
	assert_int_equal(fwrite(text, 1, n, f), n);
	assert_int_equal(fclose(f), 0);
}

static inline void file_write(const char *path, const char *text)
{
	file_write_bytes(path, text, strlen(text));
}

static inline void file_read(const char *path, char *text, size_t size)
{
	FILE *f = fopen(path, "r");

	assert_non_null(f);
	text[fread(text, 1, size - 1, f)] = '\0';
	fclose(f);
}

/* The arguments stand behind `postwalk replay`. */
__attribute__((format(printf, 3, 4)))
static inline void replay(const struct files *f, struct ran *ran, const char *format, ...)
{
	char arguments[500], command[1000];
	const char *tool = getenv("POSTWALK");
	va_list args;
	int status;

	assert_non_null(tool);
	va_start(args, format);
	vsnprintf(arguments, sizeof(arguments), format, args);
	va_end(args);
	snprintf(command, sizeof(command), "%s replay %s >%s 2>%s", tool, arguments, f->out, f->err);
	status = system(command);
	assert_true(WIFEXITED(status));
	ran->status = WEXITSTATUS(status);
	file_read(f->out, ran->out, sizeof(ran->out));
	file_read(f->err, ran->err, sizeof(ran->err));
}

/* What was said on standard error, without the folder: "t:3: expected ...". */
static inline const char *said(const struct files *f, const struct ran *ran)
{
	size_t n = strlen(f->folder);

	return strncmp(ran->err, f->folder, n) == 0 ? ran->err + n + 1 : ran->err;
}

#endif
