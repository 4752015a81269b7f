from teams.models.people import DeviceToken, Member, Role, Shop, Team, User

__all__ = ["DeviceToken", "Member", "Role", "Shop", "Team", "User"]
