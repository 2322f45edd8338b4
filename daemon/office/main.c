/* SPDX-License-Identifier: Apache-2.0 */
/* postwalk-office: what the buses of a yard deliver, kept and watched over. */
#include "office_internal.h"

int main(void)
{
	return 2;
}
