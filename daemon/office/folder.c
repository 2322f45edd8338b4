/* SPDX-License-Identifier: Apache-2.0 */
/* OFFICE/: one owner at a time, its key and its configuration. */
#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "intake_internal.h"
#include "morning.h"

/* 0; 1: another process has it; -1 with errno. */
static int take_lock(const char *dir, int *lock)
{
	char path[300];

	snprintf(path, sizeof(path), "%s/lock", dir);
	*lock = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0600);
	if (*lock < 0)
		return -1;
	if (flock(*lock, LOCK_EX | LOCK_NB) == 0)
		return 0;
	int error = errno;

	close(*lock);
	*lock = -1;
	errno = error;
	return error == EWOULDBLOCK ? 1 : -1;
}

static int load(struct pw_office *o, char *why, size_t size)
{
	char path[300];
	bool drawn;
	int result;

	snprintf(path, sizeof(path), "%s/office.conf", o->dir);
	result = pw_office_conf_load(path, &o->conf, why, size);
	if (result == 0)
		result = pw_hours_set(o->conf.zone, why, size);
	if (result == 0)
		result = pw_secret_key_load(o->dir, "office", &o->key, &drawn, why, size);
	if (result < 0)
		return result;
	o->silence = pw_silence_new(o->conf.silent_days);
	if (!o->silence)
		snprintf(why, size, "memory is short");
	return o->silence ? 0 : -1;
}

int pw_office_open(const char *dir, bool make, struct pw_office *o, char *why, size_t size)
{
	int result;

	*o = (struct pw_office){ .lock = -1 };
	if (snprintf(o->dir, sizeof(o->dir), "%s", dir) >= (int)sizeof(o->dir) - 64) {
		snprintf(why, size, "expected a shorter name of the office's folder");
		return -2;
	}
	result = make && mkdir(dir, 0700) && errno != EEXIST ? -1 : take_lock(dir, &o->lock);
	if (result == -1)
		snprintf(why, size, "%s: %s", dir, strerror(errno));
	if (result == 1)
		snprintf(why, size, "%s: another postwalk-office has it", dir);
	if (result)
		return result;
	result = load(o, why, size);
	if (result)
		pw_office_close(o);
	return result;
}

void pw_office_close(struct pw_office *o)
{
	pw_silence_free(o->silence);
	o->silence = NULL;
	if (o->lock >= 0)
		close(o->lock);
	o->lock = -1;
}

const char *pw_office_store(const struct pw_office *o, char path[300])
{
	snprintf(path, 300, "%s/office.db", o->dir);
	return o->conf.store[0] != '\0' ? o->conf.store : path;
}
