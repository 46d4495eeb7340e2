package cycle

import (
	"reflect"
	"testing"
	"time"
)

// TestNothingIsLeftOutOfTheMemory: a field that does not begin with a capital
// letter would be missing from a checkpoint without anybody being told.
func TestNothingIsLeftOutOfTheMemory(t *testing.T) {
	seen := map[reflect.Type]bool{}
	var walk func(path string, k reflect.Type)
	walk = func(path string, k reflect.Type) {
		switch k.Kind() {
		case reflect.Slice, reflect.Array, reflect.Pointer:
			walk(path, k.Elem())
		case reflect.Map, reflect.Func, reflect.Chan, reflect.Interface:
			t.Errorf("%s is a %v, which is no plain memory", path, k)
		case reflect.Struct:
			if k == reflect.TypeFor[time.Time]() || seen[k] {
				return
			}
			seen[k] = true
			for i := range k.NumField() {
				f := k.Field(i)
				if !f.IsExported() && !f.Anonymous && f.Tag.Get("json") != "-" {
					t.Errorf("%s.%s is not written into a checkpoint", path, f.Name)
				}
				walk(path+"."+f.Name, f.Type)
			}
		}
	}
	walk("memory", reflect.TypeFor[learnedMemory]())
	if len(seen) < 10 {
		t.Errorf("only %d types of memory were looked at", len(seen))
	}
}
