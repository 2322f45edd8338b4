/* SPDX-License-Identifier: Apache-2.0 */
/* tool_command.h - runs a command of postwalk in a process of its own, and keeps what it said. */
#ifndef POSTWALK_TEST_TOOL_COMMAND_H
#define POSTWALK_TEST_TOOL_COMMAND_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include <fcntl.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include "../../daemon/tool/tool_internal.h"
#include "postwalk/record.h"

#define SAID_MAX (1 << 20)
#define ARGS_MAX 32
#define COUNT(a) (sizeof(a) / sizeof((a)[0]))

typedef int tool_command(int argc, char **argv);

struct tool {
	char dir[64];
	pid_t pid;
	int status;
	char out[SAID_MAX], err[SAID_MAX]; /* of the last command */
};

static inline int tool_begin(void **state)
{
	struct tool *t = calloc(1, sizeof(*t));

	assert_non_null(t);
	snprintf(t->dir, sizeof(t->dir), "/tmp/postwalk-tool-XXXXXX");
	assert_non_null(mkdtemp(t->dir));
	*state = t;
	return 0;
}

static inline int tool_end(void **state)
{
	struct tool *t = *state;
	char command[100];

	snprintf(command, sizeof(command), "rm -rf '%s'", t->dir);
	assert_int_equal(system(command), 0);
	free(t);
	return 0;
}

static inline const char *tool_path(const struct tool *t, const char *name)
{
	static char path[64][128];
	static unsigned turn;
	char *p = path[turn++ % 64];

	snprintf(p, sizeof(path[0]), "%s/%s", t->dir, name);
	return p;
}

static inline void tool_write(const char *path, const char *text)
{
	FILE *f = fopen(path, "w");

	assert_non_null(f);
	fputs(text, f);
	assert_int_equal(fclose(f), 0);
}

static inline void tool_read(const char *path, char *text)
{
	FILE *f = fopen(path, "r");
	size_t n;

	text[0] = '\0';
	if (!f) /* the process has not come so far */
		return;
	n = fread(text, 1, SAID_MAX - 1, f);
	text[n] = '\0';
	fclose(f);
}

/* The child's side: said into the files OUT and ERR. */
static inline void tool_child(const struct tool *t, tool_command *command, const char *const *arg)
{
	char *argv[ARGS_MAX + 1];
	int argc = 0;

	for (; arg[argc]; argc++)
		argv[argc] = strdup(arg[argc]);
	argv[argc] = NULL;
	if (!freopen(tool_path(t, "OUT"), "w", stdout) || !freopen(tool_path(t, "ERR"), "w", stderr))
		_exit(99);
	argc = command(argc, argv);
	fflush(stdout);
	fflush(stderr);
	_exit(argc);
}

/* Begins it; arg: the command's name and its words, ended by NULL. A pipe whose end tells of the
 * process's. */
static inline int tool_start(struct tool *t, tool_command *command, const char *const *arg)
{
	int alive[2];

	assert_int_equal(pipe(alive), 0);
	unlink(tool_path(t, "OUT"));
	unlink(tool_path(t, "ERR"));
	fflush(NULL);
	t->pid = fork();
	assert_true(t->pid >= 0);
	if (t->pid == 0)
		tool_child(t, command, arg);
	close(alive[1]);
	return alive[0];
}

static inline int tool_finish(struct tool *t)
{
	int status;

	assert_int_equal(waitpid(t->pid, &status, 0), t->pid);
	assert_true(WIFEXITED(status));
	t->status = WEXITSTATUS(status);
	tool_read(tool_path(t, "OUT"), t->out);
	tool_read(tool_path(t, "ERR"), t->err);
	return t->status;
}

static inline int tool_run(struct tool *t, tool_command *command, const char *const *arg)
{
	close(tool_start(t, command, arg));
	return tool_finish(t);
}

#define RUN(t, command, ...) tool_run(t, command, (const char *const[]){ __VA_ARGS__, NULL })

static inline void assert_has(const char *text, const char *part)
{
	if (!strstr(text, part))
		fail_msg("expected \"%s\" in:\n%s", part, text);
}

/* Refused: exit 2, one sentence that has this part, and nothing else. */
static inline void assert_refused(const struct tool *t, const char *part)
{
	assert_has(t->err, part);
	assert_int_equal(t->status, PW_EXIT_BAD);
	assert_string_equal(t->out, "");
	assert_ptr_equal(strchr(t->err, '\n'), t->err + strlen(t->err) - 1);
}

#endif
