#include "go_asm.h"
#include "textflag.h"

// ":00.000Z", to take off what is no digit; nothing of the eight bytes behind.
DATA seconds<>+0(SB)/8, $0x5a3030302e30303a
DATA seconds<>+8(SB)/8, $0
GLOBL seconds<>(SB), RODATA|NOPTR, $16

// What each byte may then be at most.
DATA most<>+0(SB)/8, $0x0009090900090500
DATA most<>+8(SB)/8, $0xffffffffffffffff
GLOBL most<>(SB), RODATA|NOPTR, $16

// Two digits at a time: tens of seconds, seconds, hundredths, milliseconds.
DATA pairs<>+0(SB)/8, $0x0001010a00010a00
DATA pairs<>+8(SB)/8, $0
GLOBL pairs<>(SB), RODATA|NOPTR, $16

// And these in milliseconds: 1000, 1000, 10, 1.
DATA weights<>+0(SB)/8, $0x0001000a03e803e8
DATA weights<>+8(SB)/8, $0
GLOBL weights<>(SB), RODATA|NOPTR, $16

DATA feeds<>+0(SB)/8, $0x0a0a0a0a0a0a0a0a
DATA feeds<>+8(SB)/8, $0x0a0a0a0a0a0a0a0a
GLOBL feeds<>(SB), RODATA|NOPTR, $16

// STAMP checks the stamp of the row at SI: X0 is what is wrong with it, BX its time.
// It goes to done if that lies too far from the row before.
#define STAMP \
	MOVOU (SI), X0            \
	MOVOU 16(SI), X1          \
	PXOR  X8, X0              \
	PXOR  X9, X1              \
	MOVOA X1, X3              \
	PSUBUSB X10, X3           \
	POR   X3, X0              \
	PMADDUBSW X11, X1         \
	PMADDWL X12, X1           \
	MOVQ  X1, BX              \
	MOVL  BX, AX              \
	SHRQ  $32, BX             \
	ADDQ  AX, BX              \
	IMULQ $1000000, BX        \
	ADDQ  scan_minute(DI), BX \
	MOVQ  BX, CX              \
	SUBQ  R9, CX              \
	CMPQ  CX, scan_apart(DI)  \
	JHI   done

// LONG adds to bad what differs from a long pattern behind its first 16 bytes.
#define LONG(pattern, bad) \
	MOVOU 40(SI), X7                      \
	MOVOU (pattern+pattern_text+16)(DI), X1 \
	PXOR  X1, X7                          \
	MOVOU (pattern+pattern_mask+16)(DI), X1 \
	PAND  X1, X7                          \
	POR   X7, bad

// func scanRows(s *scan)
// SI next row, R8 end, R9 last, R10 and R11 next place and end of drops, R12 and
// R13 of temperatures, R14 how a drop goes on after the stamp, DX whether a pattern
// is long.
TEXT ·scanRows(SB), NOSPLIT, $0-8
	MOVQ s+0(FP), DI
	MOVQ scan_buf(DI), AX
	MOVQ scan_next(DI), SI
	ADDQ AX, SI
	MOVQ scan_end(DI), R8
	ADDQ AX, R8
	MOVQ scan_last(DI), R9
	MOVQ scan_drops(DI), AX
	MOVQ scan_nd(DI), R10
	LEAQ (AX)(R10*8), R10
	MOVQ scan_drops+8(DI), R11
	LEAQ (AX)(R11*8), R11
	MOVQ scan_warms(DI), AX
	MOVQ scan_nw(DI), R12
	IMULQ $24, R12
	ADDQ AX, R12
	MOVQ scan_warms+8(DI), R13
	IMULQ $24, R13
	ADDQ AX, R13
	MOVOU scan_stamp(DI), X8
	MOVOU seconds<>(SB), X9
	MOVOU most<>(SB), X10
	MOVOU pairs<>(SB), X11
	MOVOU weights<>(SB), X12
	MOVOU (scan_drip+pattern_text)(DI), X13
	MOVOU (scan_drip+pattern_mask)(DI), X14
	MOVQ (scan_drip+pattern_text)(DI), R14
	MOVBLZX scan_long(DI), DX

row:
	CMPQ SI, R8
	JGT  done
	CMPQ R10, R11
	JEQ  done
	CMPQ R14, 24(SI) // asked first: where it is unforeseen, it is soon known
	JNE  warm
	STAMP
	MOVOU 24(SI), X4
	PXOR X13, X4
	PAND X14, X4
	POR  X0, X4
	TESTL DX, DX
	JNZ  longDrop

drop:
	PTEST X4, X4
	JNZ  done
	MOVQ BX, (R10)
	ADDQ $8, R10
	MOVQ BX, R9
	ADDQ (scan_drip+pattern_size)(DI), SI
	JMP  row

longDrop:
	LONG(scan_drip, X4)
	JMP  drop

warm:
	CMPQ R12, R13
	JEQ  done
	STAMP
	PTEST X0, X0
	JNZ  done
	MOVOU 24(SI), X2
	MOVOU (scan_temp+pattern_text)(DI), X5
	PXOR X2, X5
	MOVOU (scan_temp+pattern_mask)(DI), X6
	PAND X6, X5
	TESTL DX, DX
	JZ   temp
	LONG(scan_temp, X5)

temp:
	MOVQ (scan_temp+pattern_size)(DI), CX
	MOVL $1, R15
	PTEST X5, X5
	JZ   number
	MOVOU (scan_ref+pattern_text)(DI), X5
	PXOR X2, X5
	MOVOU (scan_ref+pattern_mask)(DI), X6
	PAND X6, X5
	TESTL DX, DX
	JZ   ref
	LONG(scan_ref, X5)

ref:
	MOVQ (scan_ref+pattern_size)(DI), CX
	MOVL $2, R15
	PTEST X5, X5
	JNZ  done

number: // up to its end, which is among eight bytes
	MOVQ (SI)(CX*1), AX
	MOVQ AX, X6
	PCMPEQB feeds<>(SB), X6
	PMOVMSKB X6, DX
	ANDL $0xff, DX
	JZ   done
	BSFL DX, DX
	ADDQ CX, SI
	LEAQ 1(SI)(DX*1), SI
	MOVL $7, CX
	SUBL DX, CX
	SHLL $3, CX
	SHLQ CX, AX
	SHRQ CX, AX
	MOVQ BX, (R12)
	MOVQ AX, 8(R12)
	MOVB R15, 20(R12)
	MOVQ R10, AX
	SUBQ scan_drops(DI), AX
	SHRQ $3, AX
	MOVL AX, 16(R12)
	ADDQ $24, R12
	MOVQ BX, R9
	MOVBLZX scan_long(DI), DX
	JMP  row

done:
	SUBQ scan_buf(DI), SI
	MOVQ SI, scan_next(DI)
	MOVQ R9, scan_last(DI)
	SUBQ scan_drops(DI), R10
	SHRQ $3, R10
	MOVQ R10, scan_nd(DI)
	SUBQ scan_warms(DI), R12
	MOVQ R12, AX
	XORL DX, DX
	MOVQ $24, CX
	DIVQ CX
	MOVQ AX, scan_nw(DI)
	RET
