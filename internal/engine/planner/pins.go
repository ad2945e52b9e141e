package planner

// pin puts pinned bookings where they lie. One that has become impossible there
// moves as little as can be: first in time, then to another person, then to
// another bay. Those that fit go first, so a broken pin breaks no other.
func (b *board) pin() {
	var broken []int
	for _, job := range b.shop.byStart() {
		j := b.shop.jobs[job]
		if !j.Pinned || !b.open(job) {
			continue
		}
		sl, ok := b.asBefore(job)
		if !ok {
			broken = append(broken, job)
			continue
		}
		sl.fixed = true
		b.put(job, sl)
	}
	for _, job := range broken {
		if sl := b.nearest(job); sl != nil {
			sl.fixed = true
			sl.why = "it was pinned, but that has become impossible; " + b.shop.explain(job, sl)
			b.put(job, sl)
		}
	}
}

func (b *board) nearest(job int) *slot {
	s := b.shop
	cur := s.jobs[job].Current
	sameBay := func(c *choice) bool { return s.bays[c.bay].name == cur.Bay }
	samePerson := func(c *choice) bool { return s.people[c.person].name == cur.Person }
	for _, allowed := range []func(*choice) bool{
		func(c *choice) bool { return sameBay(c) && samePerson(c) },
		sameBay,
		samePerson,
		nil,
	} {
		if sl := b.cheapest(job, allowed); sl != nil {
			return sl
		}
	}
	return nil
}

// putWish puts a job as wished, among what cannot be pushed.
func (b *board) putWish(job int) {
	s := b.shop
	w := s.jobs[job].Wish
	allowed := func(c *choice) bool { return s.grants(*w, c) }
	if w.Start.IsZero() {
		if sl := b.cheapest(job, allowed); sl != nil {
			sl.fixed = true
			b.put(job, sl)
		}
		return
	}
	var winner *slot
	for i := range s.choices[job] {
		open := &s.choices[job][i]
		if !allowed(open) {
			continue
		}
		c := b.variants(job, *open)[0]
		if len(b.against(job, c)) > 0 {
			continue
		}
		end, _ := c.open.finish(at(w.Start), s.work(job))
		sl := &slot{choice: c, span: span{at(w.Start), end}, fixed: true, why: "it was asked for at this time"}
		if winner == nil || s.costOf(job, sl).Total() < s.costOf(job, winner).Total() {
			winner = sl
		}
	}
	if winner != nil {
		b.put(job, winner)
	}
}

// grants tells whether a choice has the bay and the person of a wish.
func (s *shop) grants(w Wish, c *choice) bool {
	return (w.Bay == "" || w.Bay == s.bays[c.bay].name) && (w.Person == "" || w.Person == s.people[c.person].name)
}
