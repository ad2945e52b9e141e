// Package month lets a simulated workshop work for a month: cars come late, work is
// found on the way, people fall ill, parts come later than announced. Each way of
// deciding what is done next meets exactly the same month.
package month
