/* SPDX-License-Identifier: Apache-2.0 */
/* The disk fills or cannot be had while a sweep is owed (J7). The state folder is a small file
 * system in memory where the machine lets us mount one; where it does not, files may not grow. */
#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <sys/mount.h>
#include <sys/resource.h>
#include <sys/stat.h>

#include "look.h"

static bool mount_small(struct world *w, const char *options)
{
	assert_true(mkdir(w->state, 0755) == 0 || errno == EEXIST);
	w->mounted = mount("none", w->state, "tmpfs", 0, options) == 0;
	return w->mounted;
}

/* Every byte that is left is taken. */
static void fill(const struct world *w)
{
	char path[128], block[4096] = { 0 };
	int fd;

	snprintf(path, sizeof(path), "%s/ballast", w->state);
	fd = open(path, O_WRONLY | O_CREAT | O_CLOEXEC, 0600);
	assert_true(fd >= 0);
	while (write(fd, block, sizeof(block)) > 0)
		;
	while (write(fd, block, 1) > 0)
		;
	assert_int_equal(errno, ENOSPC);
	close(fd);
}

static void limit_files(pid_t pid, rlim_t bytes)
{
	struct rlimit limit;

	assert_int_equal(prlimit(pid, RLIMIT_FSIZE, NULL, &limit), 0);
	limit.rlim_cur = bytes;
	assert_int_equal(prlimit(pid, RLIMIT_FSIZE, &limit, NULL), 0);
}

static void take_the_space(struct world *w)
{
	if (w->mounted)
		fill(w);
	else
		limit_files(w->writer, 512); /* the alive stamp fits, the journal does not */
}

static void give_it_back(struct world *w)
{
	char path[128];

	snprintf(path, sizeof(path), "%s/ballast", w->state);
	if (w->mounted)
		assert_int_equal(unlink(path), 0);
	else
		limit_files(w->writer, RLIM_INFINITY);
}

static void alarm_comes_on_time(struct world *w, int64_t due_ms)
{
	assert_at(world_hears(w, "beeper", 1, due_ms - ON_TIME_MS, due_ms + PATIENCE_MS), due_ms);
	assert_at(world_hears(w, "horn", 1, due_ms, due_ms + PATIENCE_MS), due_ms + 1600);
}

/* Waits until records do not reach the disk: what the log can still take of freed pages is used. */
static void until_it_is_full(struct world *w)
{
	char level[32];

	for (int i = 1; !world_said(w, "fault journal:"); i++) { /* until something is written */
		assert_true(i < 4000);
		snprintf(level, sizeof(level), "lamps=%d", i % 2);
		world_set(w, level);
		world_until(w, w->sent_ms + 30);
	}
}

static void the_disk_fills_while_a_sweep_is_owed(struct world *w)
{
	int64_t due_ms;

	world_start(w);
	due_ms = world_key_off(w) + world_due_ms(w);
	take_the_space(w);
	until_it_is_full(w);
	assert_true(page_shows(w, "journal", "records are not reaching the disk"));
	alarm_comes_on_time(w, due_ms);
	world_tap(w);
	world_says(w, "press acknowledged", NULL, now_ms() + 500);
	world_until(w, w->sent_ms + 500);
	world_set(w, "service_door=1");
	world_says(w, "sweep closed: late", NULL, now_ms() + 500);
	assert_true(page_kept(w, "waiting") > 0);
	give_it_back(w);
	world_says(w, "fault journal is over", NULL, now_ms() + 4000);
	page_settles(w);
	assert_int_equal(world_stop(w), 0);
	journal_is_whole(w);
	journal_sweep(w, 1, "late", "");
	assert_int_equal(journal_count(w, PW_K_SWEEP, ""), 1);
	assert_int_equal(journal_count(w, PW_K_RUNG, "cabin"), 1);
	assert_int_equal(journal_count(w, PW_K_LOST, ""), 0);
	assert_int_equal(journal_count(w, PW_K_FAULT, "\"journal\""), 2); /* came once, went once */
}

static void a_full_disk_delays_no_alarm_and_what_waited_is_written_later_J7(void **state)
{
	struct world *w = *state;

	if (!mount_small(w, "size=400k"))
		print_message("no mount here: files may not grow instead\n");
	the_disk_fills_while_a_sweep_is_owed(w);
}

static void files_that_may_not_grow_delay_no_alarm_J7(void **state)
{
	the_disk_fills_while_a_sweep_is_owed(*state);
}

/* R20, J9, J12: the disk was full from before due on, then power went. The start goes by what was
 * kept, so due lies in the gap. The alive stamp could still be written in place; if it were, it
 * would vouch for an alarm of which nothing is kept. */
static void power_goes_while_the_disk_is_full_R20_J12(void **state)
{
	struct world *w = *state;
	int64_t due_ms;

	mount_small(w, "size=400k");
	w->choose.due_s = "8";
	world_start(w);
	due_ms = world_key_off(w) + world_due_ms(w);
	world_until(w, due_ms - 2500); /* the first stamp was 5 s after the key-off */
	assert_int_equal(shell("test -s '%s/alive'", w->state), 0);
	take_the_space(w);
	until_it_is_full(w);
	alarm_comes_on_time(w, due_ms);
	world_until(w, due_ms + 3000); /* a second stamp would have been 2 s after due */
	world_cut(w);
	give_it_back(w);
	world_start_again(w);
	assert_page(w, "phase", "overdue");
	assert_int_equal(world_level(w, "dome"), 1);
	world_until(w, now_ms() + 400); /* R20: the walk counts from the power-on */
	world_tap(w);
	world_says(w, "press acknowledged", NULL, now_ms() + 500);
	world_set(w, "service_door=1");
	world_says(w, "sweep closed", NULL, now_ms() + 500);
	assert_int_equal(world_stop(w), 0);
	journal_is_whole(w);
	assert_int_equal(journal_count(w, PW_K_SWEEP, "\"rung\":\"cabin\""), 1);
	journal_sweep(w, 1, "doubtful", "power_lost return_short");
}

/* R20 again, and the disk is full at the start too: what was kept can be read all the same. */
static void a_start_while_the_disk_is_full_finds_what_was_kept_R20(void **state)
{
	struct world *w = *state;
	int64_t due_ms;

	mount_small(w, "size=400k");
	world_start(w);
	due_ms = world_overdue(w);
	world_hears(w, "horn", 1, due_ms, due_ms + PATIENCE_MS);
	page_settles(w);
	world_cut(w);
	if (w->mounted)
		fill(w);
	world_start_again(w);
	assert_page(w, "phase", "overdue");
	world_says(w, "rung outside", NULL, now_ms() + 500);
	world_says(w, "fault journal", NULL, now_ms() + 3000);
	give_it_back(w);
	world_says(w, "fault journal is over", NULL, now_ms() + 4000);
	page_settles(w);
	assert_int_equal(world_stop(w), 0);
	journal_is_whole(w);
	assert_int_equal(journal_count(w, PW_K_BOOT, ""), 2);
	assert_int_equal(journal_count(w, PW_K_FAULT, "\"journal\""), 2);
}

static void a_file_in_the_place_of_the_state_folder_is_told_and_the_alarm_works(void **state)
{
	struct world *w = *state;
	int64_t due_ms;

	w->lossy = true; /* there is no journal */
	assert_int_equal(shell("echo mine >'%s'", w->state), 0);
	world_start(w);
	assert_true(world_said(w, "the state folder cannot be written"));
	assert_true(world_said(w, w->state));
	due_ms = world_key_off(w) + world_due_ms(w);
	assert_true(page_shows(w, "journal", "records are not reaching the disk"));
	alarm_comes_on_time(w, due_ms);
	assert_page(w, "rung", "outside");
	assert_int_equal(world_stop(w), 0);
	assert_int_equal(shell("test \"$(cat '%s')\" = mine", w->state), 0);
}

static void a_state_folder_that_is_read_only_is_told_and_the_alarm_works(void **state)
{
	struct world *w = *state;
	int64_t due_ms;

	w->lossy = true;
	if (!mount_small(w, "size=64k,ro")) /* no mount: a folder that no one can make a file in */
		assert_int_equal(shell("rmdir '%s'; ln -s /proc/self '%s'", w->state, w->state), 0);
	world_start(w);
	assert_true(world_said(w, "the state folder cannot be written"));
	due_ms = world_key_off(w) + world_due_ms(w);
	assert_true(page_shows(w, "journal", "records are not reaching the disk"));
	alarm_comes_on_time(w, due_ms);
	assert_int_equal(world_stop(w), 0);
}

static void a_journal_that_is_damaged_is_put_aside_and_told(void **state)
{
	struct world *w = *state;

	assert_int_equal(shell("mkdir '%s' && head -c 9000 /dev/urandom >'%s/journal.db'", w->state,
			       w->state), 0);
	world_start(w);
	world_says(w, "a new journal was begun", NULL, now_ms() + 2000);
	assert_true(page_shows(w, "journal", "damaged-1"));
	world_overdue(w);
	assert_int_equal(world_stop(w), 0);
	assert_int_equal(shell("test -s '%s/journal.db.damaged-1'", w->state), 0);
	journal_is_whole(w);
}

int main(void)
{
	const struct CMUnitTest tests[] = {
		world_test(a_full_disk_delays_no_alarm_and_what_waited_is_written_later_J7),
		world_test(files_that_may_not_grow_delay_no_alarm_J7),
		world_test(power_goes_while_the_disk_is_full_R20_J12),
		world_test(a_start_while_the_disk_is_full_finds_what_was_kept_R20),
		world_test(a_file_in_the_place_of_the_state_folder_is_told_and_the_alarm_works),
		world_test(a_state_folder_that_is_read_only_is_told_and_the_alarm_works),
		world_test(a_journal_that_is_damaged_is_put_aside_and_told),
	};

	return cmocka_run_group_tests(tests, NULL, NULL);
}
