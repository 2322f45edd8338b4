/* SPDX-License-Identifier: Apache-2.0 */
#include <search.h>
#include <stdlib.h>
#include <string.h>

#include "runs.h"

static int by_id(const void *a, const void *b)
{
	return strcmp(((const struct pw_keyed *)a)->id, ((const struct pw_keyed *)b)->id);
}

void *pw_tree_find(void *const *tree, const char *id)
{
	const struct pw_keyed key = { (char *)(uintptr_t)id };
	void *const *node = tfind(&key, tree, by_id);

	return node ? *node : NULL;
}

void *pw_tree_add(void **tree, const char *id, size_t each)
{
	const size_t length = strlen(id) + 1;
	struct pw_keyed *k = pw_tree_find(tree, id);

	if (k)
		return k;
	k = calloc(1, each + length);
	if (!k)
		return NULL;
	k->id = memcpy((char *)k + each, id, length);
	if (!tsearch(k, tree, by_id)) {
		free(k);
		return NULL;
	}
	return k;
}

void pw_tree_free(void *tree)
{
	tdestroy(tree, free);
}
