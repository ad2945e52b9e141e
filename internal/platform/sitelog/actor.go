package sitelog

import (
	commonv1 "ramprow/proto/ramprow/common/v1"
)

// actorFrom and actorTo translate between the log's actor and the plain one.
// Role names are those of ramprow.common.v1.Role, as in ROLE_OWNER; a name that
// is none of them is not recorded.
func actorFrom(a *commonv1.Actor) Actor {
	actor := Actor{Person: a.GetPerson()}
	for _, role := range a.GetRoles() {
		actor.Roles = append(actor.Roles, role.String())
	}
	return actor
}

func actorTo(a Actor) *commonv1.Actor {
	if a.Person == "" && len(a.Roles) == 0 {
		return nil
	}
	actor := &commonv1.Actor{Person: a.Person}
	for _, name := range a.Roles {
		if number, ok := commonv1.Role_value[name]; ok {
			actor.Roles = append(actor.Roles, commonv1.Role(number))
		}
	}
	return actor
}
