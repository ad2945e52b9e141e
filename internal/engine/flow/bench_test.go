package flow

import (
	"fmt"
	"testing"
	"time"
)

// A full book of stays with 60 marks each through 6 bays and 6 people, looked at whole.
func BenchmarkMeasure(b *testing.B) {
	for _, stays := range []int{100, 300, 1000} {
		shop := Shop{}
		for i := range 6 {
			shop.Resources = append(shop.Resources, bay(fmt.Sprint(i), "lift"), worker(fmt.Sprint(i)))
		}
		for i := range stays {
			v := Visit{Number: uint64(i + 1)}
			arrived := at(8 + float64(i)*.8)
			v.Note(Mark{At: arrived, Phase: Diagnosis})
			for step := range int64(59) {
				m := Mark{At: arrived + (step+5)*int64(5*time.Minute), Phase: Repair, Bay: fmt.Sprint("bays/", i%6)}
				if step%2 == 0 {
					m.Hands = fmt.Sprint(i % 6)
				}
				v.Note(m)
			}
			v.End(arrived+7*hour, false)
			shop.Visits = append(shop.Visits, v)
		}
		end := at(float64(stays) + 20)
		b.Run(fmt.Sprintf("%d stays", stays), func(b *testing.B) {
			for b.Loop() {
				Measure(shop, Window{From: at(0), To: end, Now: end})
			}
		})
	}
}
