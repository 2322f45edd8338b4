/* SPDX-License-Identifier: Apache-2.0 */
/* What goes into every pack as it stands, each with a closing zero. Assembled from the top folder. */
	.section .rodata

	.global pw_pack_recompute
pw_pack_recompute:
	.incbin "etc/pack/recompute.py"
	.byte 0

	.global pw_pack_verify
pw_pack_verify:
	.incbin "etc/pack/verify.txt"
	.byte 0

	.section .note.GNU-stack, "", %progbits
