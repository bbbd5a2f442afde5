package modbus

import (
	"cmp"
	"fmt"
	"slices"
)

// block is neighbouring registers or bits that one request reads.
type block struct {
	table       Table
	first, size int
	members     []int // indices of the configured registers
}

// String names the block for people.
func (b block) String() string {
	if b.size == 1 {
		return fmt.Sprintf("%s %d", b.table, b.first)
	}
	return fmt.Sprintf("%s %d to %d", b.table, b.first, b.first+b.size-1)
}

func (r Register) size() int {
	if r.Table.bits() {
		return 1
	}
	return r.Number.width()
}

// plan makes as few blocks as it can of the registers of one unit: it merges
// those that follow each other with at most maxGap in between.
func plan(registers []Register, unit uint8, maxGap int) []block {
	var order []int
	for i, r := range registers {
		if r.Unit == unit {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(i, j int) int {
		a, b := registers[i], registers[j]
		return cmp.Or(cmp.Compare(a.Table, b.Table), cmp.Compare(a.Address, b.Address))
	})
	var blocks []block
	for _, i := range order {
		r := registers[i]
		first, end := int(r.Address), int(r.Address)+r.size()
		if n := len(blocks) - 1; n >= 0 {
			b := &blocks[n]
			if b.table == r.Table && first <= b.first+b.size+maxGap && end-b.first <= r.Table.most() {
				b.size = max(b.size, end-b.first)
				b.members = append(b.members, i)
				continue
			}
		}
		blocks = append(blocks, block{r.Table, first, r.size(), []int{i}})
	}
	return blocks
}

// split gives one block a register.
func (b block) split(registers []Register) []block {
	var parts []block
	for _, i := range b.members {
		parts = append(parts, block{b.table, int(registers[i].Address), registers[i].size(), []int{i}})
	}
	return parts
}
