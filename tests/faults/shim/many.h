/* SPDX-License-Identifier: Apache-2.0 */
/*
 * many.h - runs this program again and again, many at once: `PROGRAM ROW N` for n = 1, 2, ... of
 * each row until it is clean, which is when MANY_CLEAN of them in a row were not struck.
 *
 * A run ends with 0: struck, and all held; MANY_MISSED: not struck, and all held; else something
 * did not hold: what it printed is shown, and how to run it alone.
 */
#ifndef TEST_FAULTS_MANY_H
#define TEST_FAULTS_MANY_H

#include <errno.h>
#include <limits.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#define MANY_MISSED 100
#define MANY_CLEAN 3
#define MANY_JOBS_MAX 64

struct many_row {
	const char *name;
	int most;                     /* n; 0: until it is clean */
	bool waits;                   /* its runs mostly wait: they have places of their own */
	int next, last_struck, clean; /* n to run next; clean: those after last_struck */
	int struck, bad;
};

struct many_job {
	pid_t pid; /* 0: free */
	struct many_row *row;
	int n;
	FILE *said;
};

static inline void many_begin(struct many_job *job, struct many_row *row)
{
	char path[PATH_MAX], n[16];
	ssize_t length = readlink("/proc/self/exe", path, sizeof(path) - 1);

	*job = (struct many_job){ .row = row, .n = row->next++, .said = tmpfile() };
	path[length > 0 ? length : 0] = '\0';
	snprintf(n, sizeof(n), "%d", job->n);
	fflush(NULL);
	job->pid = fork();
	if (job->pid == 0) {
		dup2(fileno(job->said), STDOUT_FILENO);
		dup2(fileno(job->said), STDERR_FILENO);
		execl(path, path, row->name, n, (char *)NULL);
		_exit(127);
	}
}

/* Lines that begin with a tab are for whoever asks by $MANY_TELL; all, when something did not hold. */
static inline void many_tell(struct many_job *job, bool all)
{
	char line[1024];

	rewind(job->said);
	while (fgets(line, sizeof(line), job->said))
		if (all || (line[0] == '\t' && getenv("MANY_TELL")))
			printf("\t%s %d: %s", job->row->name, job->n, line + (line[0] == '\t'));
}

static inline void many_end(struct many_job *job, int status)
{
	struct many_row *r = job->row;
	bool missed = WIFEXITED(status) && WEXITSTATUS(status) == MANY_MISSED;

	if (status != 0 && !missed) {
		r->bad++;
		printf("%s %d does not hold: run %s %s %d\n", r->name, job->n,
		       program_invocation_name, r->name, job->n);
	}
	many_tell(job, status != 0 && !missed);
	fclose(job->said);
	if (!missed && job->n > r->last_struck) {
		r->last_struck = job->n;
		r->clean = 0;
	}
	r->struck += status == 0;
	r->clean += missed && job->n > r->last_struck;
	job->pid = 0;
}

static inline struct many_row *many_next(struct many_row *rows, size_t count, bool waits)
{
	struct many_row *next = NULL;

	for (size_t i = 0; i < count; i++)
		if (rows[i].waits == waits && rows[i].clean < MANY_CLEAN
		    && (rows[i].most == 0 || rows[i].next <= rows[i].most)
		    && (!next || rows[i].next < next->next))
			next = &rows[i];
	return next;
}

/* Rows take turns. So many at once of those that wait, and of the others. */
static inline void many_run(struct many_row *rows, size_t count, int jobs)
{
	struct many_job job[2 * MANY_JOBS_MAX] = { 0 };
	struct many_row *row;
	int running = 0, status;
	pid_t ended;

	jobs = jobs < 1 ? 1 : jobs > MANY_JOBS_MAX ? MANY_JOBS_MAX : jobs;
	for (;;) {
		for (int i = 0; i < 2 * jobs; i++)
			if (job[i].pid == 0 && (row = many_next(rows, count, i < jobs))) {
				many_begin(&job[i], row);
				running++;
			}
		if (running == 0)
			return;
		ended = wait(&status);
		for (int i = 0; i < 2 * jobs; i++)
			if (job[i].pid == ended) {
				many_end(&job[i], status);
				running--;
			}
	}
}

#endif
