package config

import "slices"

// lineIndex holds the offset of each line's first byte.
type lineIndex []int

func indexLines(data []byte) lineIndex {
	index := lineIndex{0}
	for i, b := range data {
		if b == '\n' {
			index = append(index, i+1)
		}
	}
	return index
}

// at is the line of an offset, from 1.
func (l lineIndex) at(offset int) int {
	i, found := slices.BinarySearch(l, offset)
	if found {
		return i + 1
	}
	return i
}

// start is the offset of a line's first byte; past the last line, end.
func (l lineIndex) start(line, end int) int {
	if line-1 < len(l) {
		return min(l[line-1], end)
	}
	return end
}
