/* SPDX-License-Identifier: Apache-2.0 */
/* edges N: a trace of N raw edges on standard output: contacts that bounce 1, 3, 5 or 7 times within
 * 0 to 5 ms of each other, then rest for 50 to 400 ms. Always the same ones. */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

static uint32_t draw(uint32_t *seed, uint32_t n)
{
	*seed = *seed * 1664525u + 1013904223u;
	return (*seed >> 8) % n;
}

int main(int argc, char **argv)
{
	static const char *const name[] = { "ignition", "rear_button", "rear_door",
					    "exits",    "service_door", "lamps" };
	long left = argc > 1 ? atol(argv[1]) : 1000;
	uint32_t seed = 1;
	int level[6] = { 1 };
	long long t = 1000;

	puts("0 ignition=1");
	while (left > 0) {
		uint32_t line = draw(&seed, 6);

		for (uint32_t n = 1 + 2 * draw(&seed, 4); n > 0 && left > 0; n--, left--) {
			t += draw(&seed, 6);
			level[line] = !level[line];
			printf("%lld.%03lld %s=%d\n", t / 1000, t % 1000, name[line], level[line]);
		}
		t += 50 + draw(&seed, 351);
	}
	return ferror(stdout) || fflush(stdout) ? 1 : 0;
}
