// Package torqueaudit is the tightening audit of a site: for each job a sheet
// of the joints that it tightens, and the register of wrenches that prove them.
//
// The sheet opens from a confirmed diagnosis, follows every replan and every
// design found, and takes readings that internal/engine/fastening judges. It
// is complete only when every joint is proved, or departed from with two
// names, and a person has signed. Rework, another plan or a wrench that failed
// its check open it again.
package torqueaudit
