/* SPDX-License-Identifier: Apache-2.0 */
/* resident PROGRAM ARG...: runs it, its output thrown away, and prints its peak resident kB. */
#include <fcntl.h>
#include <stdio.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

int main(int argc, char **argv)
{
	struct rusage use;
	pid_t pid = argc > 1 ? fork() : -1;
	int status;

	if (pid == 0) {
		if (dup2(open("/dev/null", O_WRONLY), STDOUT_FILENO) < 0)
			_exit(126);
		execv(argv[1], argv + 1);
		_exit(127);
	}
	if (pid < 0 || wait4(pid, &status, 0, &use) != pid || status != 0)
		return 2;
	printf("%ld\n", use.ru_maxrss);
	return 0;
}
