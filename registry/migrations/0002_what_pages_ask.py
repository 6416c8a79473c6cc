from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('registry', '0001_initial'),
    ]

    operations = [
        migrations.RemoveIndex(
            model_name='action',
            name='action_attempts',
        ),
        migrations.RemoveIndex(
            model_name='complication',
            name='complication_by_device',
        ),
        migrations.AddIndex(
            model_name='action',
            index=models.Index(condition=models.Q(('acts_counted', True), ('ends_attempt', True)), fields=['situation_faced', 'technique', 'aim', 'complication', 'case', 'attempt_result', 'with_injury', 'with_new_complication', 'attempt_in_situation', 'site', 'earliest', 'latest', 'acts_counted', 'ends_attempt'], name='action_attempts'),
        ),
        migrations.AddIndex(
            model_name='action',
            index=models.Index(condition=models.Q(('acts_counted', True)), fields=['site', 'situation_faced', 'complication', 'earliest', 'latest', 'acts_counted'], name='action_by_situation'),
        ),
        migrations.AddIndex(
            model_name='case',
            index=models.Index(fields=['procedure_date_earliest', 'code', 'site'], name='case_newest_of_sites'),
        ),
        migrations.AddIndex(
            model_name='complication',
            index=models.Index(condition=models.Q(('acts_counted', True)), fields=['site', 'situation', 'case', 'earliest', 'latest', 'acts_counted'], name='complication_acts_counted'),
        ),
        migrations.AddIndex(
            model_name='complication',
            index=models.Index(condition=models.Q(('acts_counted', False), ('counted', True)), fields=['site'], name='complication_left_out'),
        ),
        migrations.AddIndex(
            model_name='complication',
            index=models.Index(condition=models.Q(('in_device_rate', True)), fields=['site', 'device_model', 'device_class', 'month', 'caused_by', 'case', 'earliest', 'latest', 'in_device_rate'], name='complication_in_device_rate'),
        ),
        migrations.AddIndex(
            model_name='staffrole',
            index=models.Index(fields=['case', 'role', 'person'], name='staff_role_in_case'),
        ),
    ]
