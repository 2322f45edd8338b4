/* SPDX-License-Identifier: Apache-2.0 */
/*
 * A folder as one .zip by libarchive: any machine of an office opens it without a program of its own.
 * Sizes are known before a file begins, so that the simplest readers can take it.
 */
#include <archive.h>
#include <archive_entry.h>
#include <errno.h>
#include <fts.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "pack.h"

#define PIECE 65536

static la_ssize_t put_piece(struct archive *a, void *ctx, const void *piece, size_t size)
{
	if (fwrite(piece, 1, size, ctx) == size)
		return (la_ssize_t)size;
	archive_set_error(a, errno, "it cannot be written");
	return -1;
}

static int copy_file(struct archive *zip, const char *path)
{
	char piece[PIECE];
	size_t got;
	FILE *f = fopen(path, "re");
	int result = f ? 0 : -1;

	while (result == 0 && (got = fread(piece, 1, sizeof(piece), f)) > 0)
		result = archive_write_data(zip, piece, got) == (la_ssize_t)got ? 0 : -1;
	if (f && ferror(f))
		result = -1;
	if (f)
		fclose(f);
	return result;
}

static int put_file(struct archive *zip, const FTSENT *at, const char *name, size_t skipped)
{
	struct archive_entry *entry = archive_entry_new();
	char path[700];
	int result;

	if (!entry)
		return -1;
	snprintf(path, sizeof(path), "%s/%s", name, at->fts_path + skipped);
	archive_entry_set_pathname(entry, path);
	archive_entry_set_size(entry, at->fts_statp->st_size);
	archive_entry_set_filetype(entry, AE_IFREG);
	archive_entry_set_perm(entry, 0644);
	archive_entry_set_mtime(entry, at->fts_statp->st_mtime, 0);
	result = archive_write_header(zip, entry) == ARCHIVE_OK ? copy_file(zip, at->fts_path) : -1;
	archive_entry_free(entry);
	return result;
}

static int by_name(const FTSENT **a, const FTSENT **b)
{
	return strcmp((*a)->fts_name, (*b)->fts_name);
}

static int put_folder(struct archive *zip, const char *dir, const char *name)
{
	char path[512], *const paths[] = { path, NULL };
	FTS *tree;
	int result;

	snprintf(path, sizeof(path), "%s", dir);
	tree = fts_open(paths, FTS_PHYSICAL | FTS_NOCHDIR, by_name);
	result = tree ? 0 : -1;
	for (FTSENT *at; result == 0 && (at = fts_read(tree)) != NULL; )
		if (at->fts_info == FTS_F)
			result = put_file(zip, at, name, strlen(dir) + 1);
	if (tree)
		fts_close(tree);
	return result;
}

int pw_pack_zip(const char *dir, const char *name, FILE *out, char *why, size_t size)
{
	struct archive *zip = archive_write_new();
	int result = -1;

	snprintf(why, size, "there is no memory for a pack");
	if (!zip)
		return -1;
	if (archive_write_set_format_zip(zip) == ARCHIVE_OK &&
	    archive_write_set_bytes_in_last_block(zip, 1) == ARCHIVE_OK &&
	    archive_write_open(zip, out, NULL, put_piece, NULL) == ARCHIVE_OK)
		result = put_folder(zip, dir, name);
	if (archive_write_close(zip) != ARCHIVE_OK)
		result = -1;
	if (result && archive_error_string(zip))
		snprintf(why, size, "the pack cannot be written: %.150s", archive_error_string(zip));
	archive_write_free(zip);
	return result;
}

void pw_pack_drop(const char *dir)
{
	char path[512], *const paths[] = { path, NULL };
	FTS *tree;

	snprintf(path, sizeof(path), "%s", dir);
	tree = fts_open(paths, FTS_PHYSICAL | FTS_NOCHDIR, NULL);
	for (FTSENT *at; tree && (at = fts_read(tree)) != NULL; ) {
		if (at->fts_info == FTS_F)
			unlink(at->fts_path);
		else if (at->fts_info == FTS_DP)
			rmdir(at->fts_path);
	}
	if (tree)
		fts_close(tree);
}
