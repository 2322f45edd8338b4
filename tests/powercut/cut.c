/* SPDX-License-Identifier: Apache-2.0 */
#include "cut.h"

#include <dirent.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "chance.h"

#define SECTOR 512
#define NAMES_MAX 64
#define OBJECTS_MAX 4096

struct image {
	unsigned char *bytes;
	size_t size, room;
};

struct list { /* of entries */
	size_t *at, count, room;
};

struct names {
	unsigned count;
	struct { char name[DISK_NAME_MAX]; unsigned object; } of[NAMES_MAX];
};

/* What is on the disk for sure, and what has been asked of it since. */
struct file {
	struct image synced;
	struct list pending;
};

struct cut {
	size_t at, lost;
	bool deaf;
	struct file file[OBJECTS_MAX];
	struct names synced;
	struct list pending; /* of names */
	struct image *room;  /* for one file at a time, kept because it is used again and again */
};

static _Noreturn void give_up(const char *what, const char *name)
{
	fprintf(stderr, "cut: %s %s\n", what, name);
	abort();
}

static void *more(void *at, size_t size)
{
	at = realloc(at, size);
	if (!at)
		give_up("no memory", "");
	return at;
}

/* -- images ------------------------------------------------------------------------------------ */

static void make_room(struct image *i, size_t size)
{
	if (size <= i->room)
		return;
	i->room = size + size / 2 + 4096;
	i->bytes = more(i->bytes, i->room);
}

static void resize(struct image *i, size_t size)
{
	make_room(i, size);
	if (size > i->size)
		memset(i->bytes + i->size, 0, size - i->size);
	i->size = size;
}

static void put(struct image *i, const struct disk_entry *e, size_t from, size_t size)
{
	if (e->at + from + size > i->size)
		resize(i, e->at + from + size);
	memcpy(i->bytes + e->at + from, disk_bytes(e) + from, size);
}

static void happen(struct image *i, const struct disk_entry *e)
{
	if (e->op == DISK_WRITE)
		put(i, e, 0, e->size);
	else
		resize(i, e->size);
}

static void push(struct list *l, size_t entry)
{
	if (l->count == l->room) {
		l->room = l->room ? 2 * l->room : 64;
		l->at = more(l->at, l->room * sizeof(l->at[0]));
	}
	l->at[l->count++] = entry;
}

/* -- names ------------------------------------------------------------------------------------- */

static unsigned look_up(const struct names *n, const char *name)
{
	for (unsigned i = 0; i < n->count; i++)
		if (strcmp(n->of[i].name, name) == 0)
			return n->of[i].object;
	return 0;
}

static void drop(struct names *n, const char *name)
{
	for (unsigned i = 0; i < n->count; i++)
		if (strcmp(n->of[i].name, name) == 0)
			n->of[i] = n->of[--n->count];
}

static void name_it(struct names *n, const char *name, unsigned object)
{
	drop(n, name);
	if (n->count == NAMES_MAX)
		give_up("too many names:", name);
	snprintf(n->of[n->count].name, DISK_NAME_MAX, "%s", name);
	n->of[n->count++].object = object;
}

/* all: as if every earlier one had happened, to know what a rename moves. */
static void happen_name(struct names *n, const struct names *all, const struct disk_entry *e)
{
	if (e->op == DISK_MAKE) {
		name_it(n, e->name, e->object);
	} else if (e->op == DISK_REMOVE) {
		drop(n, e->name);
	} else {
		name_it(n, e->to, look_up(all, e->name));
		drop(n, e->name);
	}
}

/* -- the log, entry by entry ------------------------------------------------------------------- */

static void sync_file(struct file *f)
{
	for (size_t i = 0; i < f->pending.count; i++)
		happen(&f->synced, disk_entry(f->pending.at[i]));
	f->pending.count = 0;
}

static void sync_names(struct cut *c)
{
	for (size_t i = 0; i < c->pending.count; i++)
		happen_name(&c->synced, &c->synced, disk_entry(c->pending.at[i]));
	c->pending.count = 0;
}

void cut_advance(struct cut *c)
{
	const size_t n = c->at++;
	const struct disk_entry *e = disk_entry(n);

	if (e->object >= OBJECTS_MAX)
		give_up("too many files:", e->name);
	if (n == c->lost || (c->deaf && (e->op == DISK_SYNC || e->op == DISK_SYNC_FOLDER)))
		return;
	switch (e->op) {
	case DISK_MAKE:
	case DISK_RENAME:
	case DISK_REMOVE:
		push(&c->pending, n);
		break;
	case DISK_WRITE:
	case DISK_TRUNCATE:
		push(&c->file[e->object].pending, n);
		break;
	case DISK_SYNC:
		sync_file(&c->file[e->object]);
		break;
	case DISK_SYNC_FOLDER:
		sync_names(c);
		break;
	}
}

size_t cut_at(const struct cut *c)
{
	return c->at;
}

struct cut *cut_new_bad(bool deaf, size_t lost)
{
	struct cut *c = calloc(1, sizeof(*c));

	if (!c || !(c->room = calloc(1, sizeof(*c->room))))
		give_up("no memory", "");
	c->deaf = deaf;
	c->lost = lost;
	return c;
}

struct cut *cut_new(void)
{
	return cut_new_bad(false, SIZE_MAX);
}

void cut_free(struct cut *c)
{
	for (size_t i = 0; i < OBJECTS_MAX; i++) {
		free(c->file[i].synced.bytes);
		free(c->file[i].pending.at);
	}
	free(c->pending.at);
	free(c->room->bytes);
	free(c->room);
	free(c);
}

/* -- what may be there ------------------------------------------------------------------------- */

/* How many of n pending ones had happened: none, all, or some. */
static size_t some(uint64_t *seed, size_t n)
{
	switch (chance(seed) % 3) {
	case 0:
		return 0;
	case 1:
		return n;
	default:
		return chance(seed) % (n + 1);
	}
}

static void copy(struct image *to, const struct image *from)
{
	make_room(to, from->size + 1);
	to->size = from->size;
	if (from->size > 0)
		memcpy(to->bytes, from->bytes, from->size);
}

/* The length of the file, and the longest that it was, after so many pending ones. */
static size_t length_after(const struct file *f, size_t count, size_t *longest)
{
	size_t size = f->synced.size, most = size;

	for (size_t i = 0; i < count; i++) {
		const struct disk_entry *e = disk_entry(f->pending.at[i]);

		if (e->op == DISK_TRUNCATE)
			size = e->size;
		else if (e->at + e->size > size)
			size = e->at + e->size;
		most = size > most ? size : most;
	}
	if (longest)
		*longest = most;
	return size;
}

/* What entry e did to one sector. */
static void happen_sector(struct image *i, const struct disk_entry *e, size_t sector)
{
	const size_t begin = sector * SECTOR, end = begin + SECTOR;
	size_t from = e->at > begin ? e->at : begin;
	size_t to = e->at + e->size < end ? e->at + e->size : end;

	if (e->op == DISK_WRITE && from < to)
		memcpy(i->bytes + from, disk_bytes(e) + (from - e->at), to - from);
	else if (e->op == DISK_TRUNCATE && e->size < end)
		memset(i->bytes + (e->size > begin ? e->size : begin), 0,
		       end - (e->size > begin ? e->size : begin));
}

static void touch_sectors(struct image *i, const struct file *f, size_t n, const size_t *until)
{
	const struct disk_entry *e = disk_entry(f->pending.at[n]);
	const size_t last = i->size / SECTOR;
	size_t first = (e->op == DISK_WRITE ? e->at : e->size) / SECTOR, end = last;

	if (e->op == DISK_WRITE)
		end = (e->at + e->size + SECTOR - 1) / SECTOR;
	for (size_t s = first; s < end; s++)
		if (n < until[s])
			happen_sector(i, e, s);
}

/* Each sector as it stood after some of the pending ones; the length after some of them. */
static void tear(struct image *i, const struct file *f, bool stale, uint64_t *seed)
{
	size_t longest, length, sectors, *until;

	length_after(f, f->pending.count, &longest);
	length = length_after(f, some(seed, f->pending.count), NULL);
	sectors = (longest + SECTOR - 1) / SECTOR;
	until = more(NULL, (sectors + 1) * sizeof(*until));
	copy(i, &f->synced);
	resize(i, sectors * SECTOR);
	for (size_t s = 0; s < sectors; s++)
		until[s] = some(seed, f->pending.count);
	for (size_t at = f->synced.size; stale && at < i->size; at++)
		i->bytes[at] = (unsigned char)chance(seed);
	for (size_t n = 0; n < f->pending.count; n++)
		touch_sectors(i, f, n, until);
	free(until);
	resize(i, length);
}

static void image_of(const struct file *f, enum cut_kind kind, uint64_t *seed, struct image *i)
{
	if (kind >= CUT_TORN && f->pending.count > 0) {
		tear(i, f, kind == CUT_MIXED, seed);
		return;
	}
	copy(i, &f->synced);
	for (size_t n = 0; kind == CUT_KEPT && n < f->pending.count; n++)
		happen(i, disk_entry(f->pending.at[n]));
}

static void names_of(const struct cut *c, enum cut_kind kind, uint64_t *seed, struct names *names)
{
	struct names all = c->synced;
	size_t count = kind == CUT_DROPPED ? 0 : c->pending.count;

	if (kind == CUT_TORN)
		count = some(seed, count);
	*names = c->synced;
	for (size_t n = 0; n < count; n++) {
		const struct disk_entry *e = disk_entry(c->pending.at[n]);

		if (kind != CUT_MIXED || chance(seed) % 2)
			happen_name(names, &all, e);
		happen_name(&all, &all, e);
	}
}

/* -- as a folder ------------------------------------------------------------------------------- */

static void empty(int folder, const char *path)
{
	DIR *d = opendir(path);
	struct dirent *e;

	while (d && (e = readdir(d)))
		if (strcmp(e->d_name, ".") != 0 && strcmp(e->d_name, "..") != 0)
			unlinkat(folder, e->d_name, 0);
	if (d)
		closedir(d);
}

void cut_lay(const struct cut *c, enum cut_kind kind, uint64_t seed, const char *path)
{
	int folder = open(path, O_RDONLY | O_DIRECTORY | O_CLOEXEC), fd;
	struct image *i = c->room;
	struct names names;

	if (folder < 0)
		give_up("no such folder:", path);
	empty(folder, path);
	names_of(c, kind, &seed, &names);
	for (unsigned n = 0; n < names.count; n++) {
		image_of(&c->file[names.of[n].object], kind, &seed, i);
		fd = openat(folder, names.of[n].name, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC,
			    0600);
		if (fd < 0 || write(fd, i->bytes, i->size) != (ssize_t)i->size || close(fd) < 0)
			give_up("cannot be laid out:", names.of[n].name);
	}
	close(folder);
}

static bool holds(int folder, const char *name, const struct image *i)
{
	int fd = openat(folder, name, O_RDONLY | O_CLOEXEC);
	unsigned char *bytes = more(NULL, i->size + 1);
	bool same = fd >= 0 && read(fd, bytes, i->size + 1) == (ssize_t)i->size &&
		    memcmp(bytes, i->bytes, i->size) == 0;

	free(bytes);
	if (fd >= 0)
		close(fd);
	return same;
}

/* Every file but the index of the log and the uplink's socket, which are no disk's. */
static unsigned count_files(const char *path)
{
	DIR *d = opendir(path);
	struct dirent *e;
	unsigned count = 0;

	while (d && (e = readdir(d)))
		count += e->d_name[0] != '.' && !strstr(e->d_name, "-shm") && e->d_type != DT_SOCK;
	if (d)
		closedir(d);
	return count;
}

int cut_compare(const struct cut *c, const char *path)
{
	int folder = open(path, O_RDONLY | O_DIRECTORY | O_CLOEXEC), result = 0;
	struct image *i = c->room;
	uint64_t seed = 0;
	struct names names;

	names_of(c, CUT_KEPT, &seed, &names);
	for (unsigned n = 0; n < names.count; n++) {
		image_of(&c->file[names.of[n].object], CUT_KEPT, &seed, i);
		if (holds(folder, names.of[n].name, i))
			continue;
		fprintf(stderr, "cut: %s is not what the log makes of it\n", names.of[n].name);
		result = -1;
	}
	if (count_files(path) != names.count) {
		fprintf(stderr, "cut: there are %u files, and %u in the log\n", count_files(path),
			names.count);
		result = -1;
	}
	close(folder);
	return result;
}
