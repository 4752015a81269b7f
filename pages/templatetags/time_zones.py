"""Says in a template in which time zone its moments are."""

from django import template
from django.utils import timezone
from django.utils.translation import gettext as _

from pages.local_times import zone_name
from teams.time_zones import UTC_NAME

register = template.Library()


@register.simple_tag
def times_are_those_of() -> str:
    """Say which clock the moments on a page follow."""
    zone = zone_name(timezone.get_current_timezone())
    return _("Times are in UTC.") if zone == UTC_NAME else _("Times are those of %(zone)s.") % {"zone": zone}
