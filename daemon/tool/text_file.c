/* SPDX-License-Identifier: Apache-2.0 */
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "tool_internal.h"

#define BUFFER (256 * 1024)
#define PEEK 16

struct pw_text_file {
	const char *path, *what;
	size_t line_max;
	int fd;
	bool over, whole;
	size_t from, to; /* what is left in buf */
	long number;
	char buf[BUFFER + 1];
};

static int unreadable(const char *path, const char *what)
{
	fprintf(stderr, "%s: expected %s that can be read: %s\n", path, what, strerror(errno));
	return -1;
}

struct pw_text_file *pw_text_file_open(const char *path, const char *what, size_t line_max)
{
	struct pw_text_file *f = calloc(1, sizeof(*f));
	bool in = strcmp(path, "-") == 0;

	if (!f) {
		fprintf(stderr, "%s: out of memory\n", path);
		return NULL;
	}
	f->path = in ? "standard input" : path;
	f->what = what;
	f->line_max = line_max;
	f->fd = in ? dup(STDIN_FILENO) : open(path, O_RDONLY | O_CLOEXEC);
	if (f->fd >= 0)
		return f;
	unreadable(f->path, what);
	free(f);
	return NULL;
}

void pw_text_file_close(struct pw_text_file *f)
{
	if (!f)
		return;
	close(f->fd);
	free(f);
}

const char *pw_text_file_path(const struct pw_text_file *f)
{
	return f->path;
}

long pw_text_file_number(const struct pw_text_file *f)
{
	return f->number;
}

bool pw_text_file_is_whole(const struct pw_text_file *f)
{
	return f->whole;
}

static int refill(struct pw_text_file *f)
{
	ssize_t n;

	memmove(f->buf, f->buf + f->from, f->to - f->from);
	f->to -= f->from;
	f->from = 0;
	do
		n = read(f->fd, f->buf + f->to, BUFFER - f->to);
	while (n < 0 && errno == EINTR);
	if (n < 0)
		return unreadable(f->path, f->what);
	f->over = n == 0;
	f->to += (size_t)n;
	return 0;
}

int pw_text_file_peek(struct pw_text_file *f, const char **bytes)
{
	while (f->to - f->from < PEEK && !f->over)
		if (refill(f))
			return -1;
	*bytes = f->buf + f->from;
	return f->to - f->from < PEEK ? (int)(f->to - f->from) : PEEK;
}

int pw_text_file_next(struct pw_text_file *f, char **line, size_t *length)
{
	char *end = NULL;

	while (!(end = memchr(f->buf + f->from, '\n', f->to - f->from)) && !f->over)
		if (f->to - f->from > f->line_max)
			break;
		else if (refill(f))
			return -1;
	*line = f->buf + f->from;
	*length = end ? (size_t)(end - *line) : f->to - f->from;
	if (*length == 0 && !end)
		return 0;
	f->number++;
	f->whole = end != NULL;
	if (*length > f->line_max) {
		fprintf(stderr, "%s:%ld: expected a line of %zu characters at most\n", f->path,
			f->number, f->line_max);
		return -1;
	}
	f->from += *length + f->whole;
	(*line)[*length] = '\0';
	if (!memchr(*line, '\0', *length))
		return 1;
	fprintf(stderr, "%s:%ld: expected text without zero bytes\n", f->path, f->number);
	return -1;
}
